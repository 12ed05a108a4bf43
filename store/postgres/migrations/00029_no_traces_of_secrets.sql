-- Rows that were removed or changed still stand in the table's file: answers with
-- secrets. The file is written anew without them.

-- +goose NO TRANSACTION
-- +goose Up
vacuum (full) idempotency_keys;

-- +goose Down
