-- Space that is free in the file still holds what stood there: answers with secrets,
-- removed or changed. The file is written anew without it. From now on what is removed
-- is overwritten (secure_delete).

-- +goose NO TRANSACTION
-- +goose Up
vacuum;
pragma wal_checkpoint(truncate);

-- +goose Down
