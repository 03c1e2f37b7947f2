-- The first shape of the records. Times are microseconds since 1970-01-01T00:00:00Z. Texts of people are cleaned
-- before they come here: one line where one line is meant, no NUL.

CREATE TABLE site (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (name <> ''),
    notes TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE machine_type (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (name <> ''),
    -- The version with which calls begin. Deferred, as a type and its first version come together.
    current INTEGER REFERENCES type_version (id) DEFERRABLE INITIALLY DEFERRED
) STRICT;

CREATE TABLE type_version (
    id INTEGER PRIMARY KEY,
    machine_type INTEGER NOT NULL REFERENCES machine_type (id),
    number INTEGER NOT NULL CHECK (number >= 1),
    label TEXT NOT NULL,
    title TEXT NOT NULL,
    text TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    note TEXT NOT NULL,
    added INTEGER NOT NULL,
    UNIQUE (machine_type, number)
) STRICT;
CREATE INDEX type_version_fingerprint ON type_version (machine_type, fingerprint);

CREATE TABLE version_library (
    version INTEGER NOT NULL REFERENCES type_version (id),
    position INTEGER NOT NULL,
    name TEXT NOT NULL,
    text TEXT NOT NULL,
    PRIMARY KEY (version, position),
    UNIQUE (version, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE machine (
    id INTEGER PRIMARY KEY,
    serial TEXT NOT NULL COLLATE NOCASE CHECK (serial <> ''),
    number INTEGER CHECK (number >= 0),
    machine_type INTEGER NOT NULL REFERENCES machine_type (id),
    site INTEGER REFERENCES site (id),
    revision TEXT,
    contact TEXT NOT NULL DEFAULT '',
    notes TEXT NOT NULL DEFAULT '',
    running_hours REAL CHECK (running_hours >= 0),
    added INTEGER NOT NULL,
    UNIQUE (serial, machine_type)
) STRICT;
CREATE INDEX machine_by_serial ON machine (serial);
CREATE INDEX machine_by_number ON machine (number);
CREATE INDEX machine_by_type ON machine (machine_type, serial);
CREATE INDEX machine_by_site ON machine (site, serial);

CREATE TABLE machine_setting (
    machine INTEGER NOT NULL REFERENCES machine (id) ON DELETE CASCADE,
    name TEXT NOT NULL CHECK (name <> ''),
    value TEXT NOT NULL,
    PRIMARY KEY (machine, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE call (
    id INTEGER PRIMARY KEY,
    version INTEGER NOT NULL REFERENCES type_version (id),
    -- Said by the version already; kept here so that lists by type are one walk along an index.
    machine_type INTEGER NOT NULL REFERENCES machine_type (id),
    machine INTEGER REFERENCES machine (id),
    -- Where the machine stood then; it may have moved since.
    site INTEGER REFERENCES site (id),
    began INTEGER NOT NULL,
    changed INTEGER NOT NULL,
    closed INTEGER,
    counter INTEGER NOT NULL DEFAULT 0,
    -- What the machine was taken to be then.
    serial TEXT NOT NULL DEFAULT '',
    number INTEGER CHECK (number >= 0),
    revision TEXT,
    visit INTEGER CHECK (visit >= 0),
    origin_procedure TEXT,
    origin_steps INTEGER,
    -- The complaint among the entries, for lists.
    complaint TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX call_by_time ON call (began, id);
CREATE INDEX call_by_state ON call (closed IS NULL, began, id);
CREATE INDEX call_by_machine ON call (machine, began, id);
CREATE INDEX call_by_type ON call (machine_type, began, id);
CREATE INDEX call_by_site ON call (site, began, id);
CREATE INDEX call_by_version ON call (version);

CREATE TABLE call_setting (
    call INTEGER NOT NULL REFERENCES call (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    PRIMARY KEY (call, position)
) STRICT, WITHOUT ROWID;

-- All that was ever changed in a call. What it says now is worked out from these rows alone.
CREATE TABLE call_event (
    call INTEGER NOT NULL REFERENCES call (id) ON DELETE CASCADE,
    counter INTEGER NOT NULL,
    part INTEGER NOT NULL,
    at INTEGER NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('add', 'replace', 'remove', 'undo', 'finding', 'close', 'reopen')),
    position INTEGER,
    kind TEXT,
    text TEXT,
    PRIMARY KEY (call, counter, part)
) STRICT, WITHOUT ROWID;

CREATE TABLE finding (
    call INTEGER PRIMARY KEY REFERENCES call (id) ON DELETE CASCADE,
    at INTEGER NOT NULL,
    words TEXT NOT NULL,
    sure REAL NOT NULL CHECK (sure BETWEEN 0 AND 1),
    confirmed_by TEXT NOT NULL,
    not_in_file INTEGER NOT NULL CHECK (not_in_file IN (0, 1)),
    solved TEXT NOT NULL CHECK (solved IN ('phone', 'visit', 'unsolved')),
    minutes REAL CHECK (minutes >= 0),
    visits INTEGER NOT NULL CHECK (visits >= 0)
) STRICT;

CREATE TABLE finding_deviation (
    call INTEGER NOT NULL REFERENCES finding (call) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    key TEXT NOT NULL,
    PRIMARY KEY (call, position)
) STRICT, WITHOUT ROWID;
CREATE INDEX finding_deviation_by_key ON finding_deviation (key);

CREATE TABLE finding_remedy (
    call INTEGER NOT NULL REFERENCES finding (call) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    key TEXT NOT NULL,
    PRIMARY KEY (call, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE part_used (
    call INTEGER NOT NULL REFERENCES finding (call) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    part TEXT NOT NULL CHECK (part <> ''),
    count INTEGER NOT NULL CHECK (count >= 1),
    price REAL CHECK (price >= 0),
    PRIMARY KEY (call, position)
) STRICT, WITHOUT ROWID;
CREATE INDEX part_used_by_part ON part_used (part);

CREATE TABLE stated_probability (
    call INTEGER NOT NULL REFERENCES finding (call) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    key TEXT NOT NULL,
    probability REAL NOT NULL CHECK (probability BETWEEN 0 AND 1),
    PRIMARY KEY (call, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE exposure (
    id INTEGER PRIMARY KEY,
    machine INTEGER NOT NULL REFERENCES machine (id),
    since INTEGER NOT NULL,
    until INTEGER NOT NULL,
    amount REAL NOT NULL CHECK (amount >= 0),
    unit TEXT NOT NULL CHECK (unit IN ('hours', 'cycles')),
    CHECK (until >= since)
) STRICT;
CREATE INDEX exposure_by_machine ON exposure (machine, since);

CREATE TABLE procedure_run (
    id INTEGER PRIMARY KEY,
    machine INTEGER NOT NULL REFERENCES machine (id),
    version INTEGER NOT NULL REFERENCES type_version (id),
    call INTEGER REFERENCES call (id),
    at INTEGER NOT NULL,
    name TEXT NOT NULL CHECK (name <> ''),
    done_by TEXT NOT NULL,
    completed INTEGER NOT NULL CHECK (completed IN (0, 1)),
    note TEXT NOT NULL
) STRICT;
CREATE INDEX procedure_run_by_machine ON procedure_run (machine, at, id);
CREATE INDEX procedure_run_by_call ON procedure_run (call);

CREATE TABLE measured_value (
    run INTEGER NOT NULL REFERENCES procedure_run (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    what TEXT NOT NULL,
    value REAL NOT NULL,
    unit TEXT NOT NULL,
    lowest REAL,
    highest REAL,
    PRIMARY KEY (run, position)
) STRICT, WITHOUT ROWID;

-- What can be searched. A row's number is eight times that of the thing, plus one digit for what it is.
CREATE VIRTUAL TABLE finder USING fts5 (title, body, tokenize = "unicode61 remove_diacritics 2", prefix = '2 3');
