// Three small helps; everything works without them.
"use strict";
document.documentElement.classList.add("scripted");

// A lamp goes to its next state when it is tapped.
const states = ["unseen", "lit", "dark", "flickers"];
const words = { unseen: "not seen", lit: "lit", dark: "dark", flickers: "flick\u00aders" };
document.addEventListener("click", (event) => {
  const lamp = event.target.closest("button[data-lamp]");
  if (!lamp) return;
  const next = states[(states.indexOf(lamp.dataset.lamp) + 1) % states.length];
  lamp.dataset.lamp = next;
  lamp.querySelector(".state").textContent = words[next];
  const field = lamp.parentElement.querySelector("input");
  field.value = field.value.replace(/[a-z]+$/, next);
});

// What is remarked of a line leads to that line of the machine file.
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-line]");
  const file = link && document.getElementById("file");
  if (!file) return;
  event.preventDefault();
  const before = file.value.split("\n").slice(0, Number(link.dataset.line) - 1);
  const from = before.reduce((sum, line) => sum + line.length + 1, 0);
  const end = file.value.indexOf("\n", from);
  file.focus();
  file.setSelectionRange(from, end < 0 ? file.value.length : end);
  file.scrollTop = Math.max(0, before.length - 5) * parseFloat(getComputedStyle(file).lineHeight);
});

// What takes longer is fetched once the rest is shown.
async function fetchInto(place, address) {
  try {
    let answer = await fetch(address, { headers: { Accept: "text/html" } });
    // "It takes long": asked once more, it is taken up where it is being made.
    while (answer.status === 202) {
      await new Promise((resolve) => setTimeout(resolve, 500));
      answer = await fetch(address, { headers: { Accept: "text/html" } });
    }
    const text = await answer.text();
    // Whoever is not signed in any more is led to another page, which is none to be put in here.
    if (!answer.ok || answer.redirected) throw new Error(text);
    place.innerHTML = text;
  } catch {
    place.innerHTML = "<p class=\"mistake\">What to ask next could not be fetched. <a href=\"\">Load the page anew.</a></p>";
  }
}
// Without this part of the address it would be a whole page, for those without scripts.
const piece = (address) => {
  const wanted = new URL(address, location.href);
  wanted.searchParams.set("piece", "yes");
  return wanted;
};
for (const place of document.querySelectorAll("[data-fetch]")) fetchInto(place, piece(place.dataset.fetch));
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-instead]");
  const place = link && link.closest("[data-fetch]");
  if (!place) return;
  event.preventDefault();
  fetchInto(place, piece(link.href));
});
