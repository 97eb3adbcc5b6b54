-- +goose Up
-- States of the plan; the one with the highest number is in force.
CREATE TABLE plans (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL
);

-- +goose Down
DROP TABLE plans;
