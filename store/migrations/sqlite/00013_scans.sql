-- +goose Up
-- Measured points against parts as drawn.
CREATE TABLE scans (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    order_id TEXT NOT NULL
);
CREATE INDEX scans_order ON scans (order_id);

-- +goose Down
DROP TABLE scans;
