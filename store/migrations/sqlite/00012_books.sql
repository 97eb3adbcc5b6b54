-- +goose Up
-- Coefficients as adopted: what actuals taught.
CREATE TABLE coefficient_versions (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL
);

-- +goose Down
DROP TABLE coefficient_versions;
