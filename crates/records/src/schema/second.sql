-- The second shape: who may use the pages from elsewhere.

CREATE TABLE account (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (name <> ''),
    role TEXT NOT NULL CHECK (role IN ('reader', 'desk', 'editor')),
    -- Argon2id with its salt and parameters, as a PHC string. The password itself is nowhere.
    password TEXT NOT NULL CHECK (password LIKE '$argon2id$%'),
    added INTEGER NOT NULL,
    changed INTEGER NOT NULL
) STRICT;

CREATE TABLE sign_in (
    -- BLAKE2s of the token that the browser holds, so that nobody can sign in with what stands here.
    token BLOB PRIMARY KEY CHECK (length(token) = 32),
    account INTEGER NOT NULL REFERENCES account (id) ON DELETE CASCADE,
    began INTEGER NOT NULL,
    used INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX sign_in_by_account ON sign_in (account);
