-- +goose Up
-- What is planned for the floor. What happened there is in the trail (events), and in nothing else: the states beside these
-- records are copies for searching.
CREATE TABLE travellers (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    order_id TEXT NOT NULL REFERENCES orders (id),
    position INTEGER NOT NULL,
    state TEXT NOT NULL,
    promised TEXT NOT NULL
);
CREATE UNIQUE INDEX travellers_order ON travellers (order_id, position);
CREATE INDEX travellers_state ON travellers (state, promised);

CREATE TABLE builds (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    machine TEXT NOT NULL,
    state TEXT NOT NULL
);
CREATE INDEX builds_state ON builds (state, no);

CREATE TABLE lots (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    material TEXT NOT NULL,
    state TEXT NOT NULL,
    search TEXT NOT NULL
);
CREATE INDEX lots_state ON lots (state, material);

-- What a lot was blended from.
CREATE TABLE lot_parents (
    child TEXT NOT NULL,
    parent TEXT NOT NULL,
    PRIMARY KEY (parent, child)
);

-- Ids that devices gave to their events: none is taken twice.
CREATE TABLE device_events (
    id TEXT PRIMARY KEY,
    about TEXT NOT NULL
);

-- Which piece went through which operation, where, by whom, with which lot: worked out from the trail, kept for finding.
CREATE TABLE touches (
    piece TEXT NOT NULL,
    op INTEGER NOT NULL,
    lot TEXT NOT NULL,
    number TEXT NOT NULL,
    machine TEXT NOT NULL,
    build TEXT NOT NULL,
    who TEXT NOT NULL,
    at TEXT NOT NULL,
    scrap INTEGER NOT NULL,
    traveller TEXT NOT NULL,
    order_id TEXT NOT NULL,
    client_id TEXT NOT NULL,
    digest TEXT NOT NULL,
    PRIMARY KEY (piece, op, lot)
);
CREATE INDEX touches_number ON touches (number);
CREATE INDEX touches_lot ON touches (lot);
CREATE INDEX touches_machine ON touches (machine, at);
CREATE INDEX touches_build ON touches (build);
CREATE INDEX touches_who ON touches (who, at);
CREATE INDEX touches_traveller ON touches (traveller);
CREATE INDEX touches_order ON touches (order_id);
CREATE INDEX touches_client ON touches (client_id);
CREATE INDEX touches_digest ON touches (digest);

-- +goose Down
DROP TABLE touches;
DROP TABLE device_events;
DROP TABLE lot_parents;
DROP TABLE lots;
DROP TABLE builds;
DROP TABLE travellers;
