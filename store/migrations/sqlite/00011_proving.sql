-- +goose Up
-- Inspection. What was measured is in the trail; states beside these records are copies for searching.
CREATE TABLE sheets (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    traveller TEXT NOT NULL,
    order_id TEXT NOT NULL,
    stream TEXT NOT NULL,
    state TEXT NOT NULL
);
CREATE UNIQUE INDEX sheets_traveller ON sheets (traveller);
CREATE INDEX sheets_order ON sheets (order_id);
CREATE INDEX sheets_stream ON sheets (stream, no);
CREATE INDEX sheets_state ON sheets (state, no);

CREATE TABLE instruments (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL
);

CREATE TABLE nonconformances (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    order_id TEXT NOT NULL,
    traveller TEXT NOT NULL,
    state TEXT NOT NULL
);
CREATE INDEX nonconformances_order ON nonconformances (order_id);
CREATE INDEX nonconformances_state ON nonconformances (state, no);

CREATE TABLE certificates (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    order_id TEXT NOT NULL
);
CREATE INDEX certificates_order ON certificates (order_id);

-- +goose Down
DROP TABLE certificates;
DROP TABLE nonconformances;
DROP TABLE instruments;
DROP TABLE sheets;
