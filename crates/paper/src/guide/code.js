"use strict";
// What was entered as a code that can be read aloud; diagnose::call::code says what its bits are.

// The CRC of ISO 11898-1 (CAN), fifteen bits.
function crc15(bits) {
  return bits.reduce((sum, bit) => {
    const top = ((sum >> 14) & 1) !== bit;
    return ((sum << 1) & 0x7fff) ^ (top ? 0x4599 : 0);
  }, 0);
}

// The code, or null if there is too much for one.
function encode(data, entered) {
  const bits = [];
  let fits = true;
  const put = (value, length) => {
    if (value >= 2 ** length) fits = false;
    for (let place = length - 1; place >= 0; place--) bits.push((value >> place) & 1);
  };
  put(2, 2);
  put(data.code.mark, 10);
  put(entered.complaint === null ? 4 : entered.complaint, 3);
  put(entered.routine === null ? 0 : 1, 1);
  if (entered.routine !== null) {
    put(entered.routine, 4);
    put(entered.last + 1, 5);
  }
  const rest = entered.lamps.some((lamp) => lamp && lamp.rest);
  put(rest ? 1 : 0, 1);
  for (const lamp of entered.lamps) {
    if (!lamp) rest ? put(15, 4) : put(0, 1);
    else if (lamp.rest) put(0, 1);
    else if (lamp.state === 0) put(2, 2);
    else if (lamp.state === 1) put(6, 3);
    else put(14, 4);
  }
  put(entered.answers.length, 5);
  for (const [question, answer] of entered.answers) {
    put(question, 8);
    put(answer === null ? 15 : answer, 4);
  }
  put(entered.tried.length, 3);
  for (const one of entered.tried) {
    if (one.remedy !== undefined) {
      put(0, 1);
      put(data.remedies.rows[one.remedy].number, 8);
    } else {
      put(1, 1);
      put(one.routine, 4);
      put(one.action, 5);
    }
    if (one.cannot !== undefined) put(3, 2);
    else one.runs ? put(2, 2) : put(0, 1);
  }
  while (bits.length % 5) bits.push(0);
  put(crc15(bits), 15);
  if (!fits || bits.length / 5 > 126) return null;
  let letters = "";
  for (let at = 0; at < bits.length; at += 5) {
    letters += data.code.letters[bits.slice(at, at + 5).reduce((value, bit) => value * 2 + bit, 0)];
  }
  return letters.match(new RegExp(`.{1,${data.code.group}}`, "g")).join("-");
}

if (typeof module !== "undefined") module.exports = { encode, crc15 };
