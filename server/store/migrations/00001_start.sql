-- Everything a workshop has is keyed by the workshop first, so that no query can
-- reach another workshop's rows by an id alone. The SQL keeps to what SQLite and
-- PostgreSQL share. Times are Unix milliseconds.

-- +goose Up

-- seq and chain are the workshop's counter: bumped inside the writing
-- transaction, so that commit order is number order.
CREATE TABLE workshop (
    id      TEXT   NOT NULL PRIMARY KEY,
    name    TEXT   NOT NULL,
    seq     BIGINT NOT NULL DEFAULT 0,
    chain   TEXT   NOT NULL DEFAULT '',
    made_ms BIGINT NOT NULL
);

CREATE TABLE person (
    workshop      TEXT   NOT NULL REFERENCES workshop (id),
    id            TEXT   NOT NULL,
    name          TEXT   NOT NULL,
    role          TEXT   NOT NULL,
    email         TEXT   NOT NULL UNIQUE,
    password_hash TEXT   NOT NULL,
    disabled_ms   BIGINT NOT NULL DEFAULT 0,
    made_ms       BIGINT NOT NULL,
    PRIMARY KEY (workshop, id)
);

-- dseq is the highest number up to which every change of the device has been answered for good.
CREATE TABLE device (
    workshop   TEXT   NOT NULL REFERENCES workshop (id),
    id         TEXT   NOT NULL,
    name       TEXT   NOT NULL,
    made_ms    BIGINT NOT NULL,
    seen_ms    BIGINT NOT NULL,
    revoked_ms BIGINT NOT NULL DEFAULT 0,
    dseq       BIGINT NOT NULL DEFAULT 0,
    PRIMARY KEY (workshop, id)
);

-- A session is a family of refresh tokens. generation counts its rotations;
-- previous is the token whose use made the current generation.
CREATE TABLE session (
    workshop   TEXT   NOT NULL,
    id         TEXT   NOT NULL,
    person     TEXT   NOT NULL,
    device     TEXT   NOT NULL,
    generation BIGINT NOT NULL,
    previous   TEXT   NOT NULL DEFAULT '',
    made_ms    BIGINT NOT NULL,
    used_ms    BIGINT NOT NULL,
    ended_ms   BIGINT NOT NULL DEFAULT 0,
    ended_why  TEXT   NOT NULL DEFAULT '',
    PRIMARY KEY (workshop, id),
    FOREIGN KEY (workshop, person) REFERENCES person (workshop, id),
    FOREIGN KEY (workshop, device) REFERENCES device (workshop, id)
);

CREATE TABLE refresh_token (
    hash       TEXT   NOT NULL PRIMARY KEY,
    workshop   TEXT   NOT NULL,
    session    TEXT   NOT NULL,
    generation BIGINT NOT NULL,
    made_ms    BIGINT NOT NULL,
    FOREIGN KEY (workshop, session) REFERENCES session (workshop, id)
);
CREATE INDEX refresh_token_session ON refresh_token (workshop, session, generation);

-- The current state of everything that may change: workshop, person, vehicle,
-- unit, profile, caution, reminder. stamps holds who last wrote each field.
CREATE TABLE document (
    workshop TEXT   NOT NULL REFERENCES workshop (id),
    kind     TEXT   NOT NULL,
    id       TEXT   NOT NULL,
    body     TEXT   NOT NULL,
    stamps   TEXT   NOT NULL DEFAULT '{}',
    seq      BIGINT NOT NULL,
    PRIMARY KEY (workshop, kind, id)
);
CREATE UNIQUE INDEX document_seq ON document (workshop, seq);

-- Every edition of a profile or caution ever released: a check is judged by the one it was made with.
CREATE TABLE edition (
    workshop TEXT   NOT NULL REFERENCES workshop (id),
    kind     TEXT   NOT NULL,
    id       TEXT   NOT NULL,
    edition  BIGINT NOT NULL,
    body     TEXT   NOT NULL,
    made_ms  BIGINT NOT NULL,
    PRIMARY KEY (workshop, kind, id, edition)
);

-- Values that lost to another edit, with their stamp. Nothing a person wrote is dropped.
CREATE TABLE field_history (
    workshop TEXT   NOT NULL,
    kind     TEXT   NOT NULL,
    id       TEXT   NOT NULL,
    seq      BIGINT NOT NULL,
    field    TEXT   NOT NULL,
    value    TEXT   NOT NULL,
    stamp    TEXT   NOT NULL,
    PRIMARY KEY (workshop, kind, id, seq, field)
);

-- One check: what it was begun with (basis), how far its log goes (n, head) and the
-- summary replayed from the log.
CREATE TABLE check_summary (
    workshop   TEXT   NOT NULL REFERENCES workshop (id),
    id         TEXT   NOT NULL,
    person     TEXT   NOT NULL,
    device     TEXT   NOT NULL,
    started_ms BIGINT NOT NULL,
    n          BIGINT NOT NULL,
    head       TEXT   NOT NULL,
    basis      TEXT   NOT NULL,
    body       TEXT   NOT NULL,
    seq        BIGINT NOT NULL,
    PRIMARY KEY (workshop, id)
);
CREATE UNIQUE INDEX check_summary_seq ON check_summary (workshop, seq);
CREATE INDEX check_summary_started ON check_summary (workshop, started_ms, id);

CREATE TABLE event (
    workshop    TEXT   NOT NULL,
    check_id    TEXT   NOT NULL,
    n           BIGINT NOT NULL,
    id          TEXT   NOT NULL,
    hash        TEXT   NOT NULL,
    body        TEXT   NOT NULL,
    received_ms BIGINT NOT NULL,
    seq         BIGINT NOT NULL,
    PRIMARY KEY (workshop, check_id, n),
    UNIQUE (workshop, id),
    FOREIGN KEY (workshop, check_id) REFERENCES check_summary (workshop, id)
);
CREATE UNIQUE INDEX event_seq ON event (workshop, seq);

-- The numbered log: one row for each thing that changed, chained so that a
-- restored or forked database is told from the one a phone knows.
CREATE TABLE change (
    workshop  TEXT   NOT NULL REFERENCES workshop (id),
    id        TEXT   NOT NULL,
    body_hash TEXT   NOT NULL,
    seq       BIGINT NOT NULL,
    chain     TEXT   NOT NULL,
    PRIMARY KEY (workshop, id)
);
CREATE UNIQUE INDEX change_seq ON change (workshop, seq);

-- +goose Down
DROP TABLE change;
DROP TABLE event;
DROP TABLE check_summary;
DROP TABLE field_history;
DROP TABLE edition;
DROP TABLE document;
DROP TABLE refresh_token;
DROP TABLE session;
DROP TABLE device;
DROP TABLE person;
DROP TABLE workshop;
