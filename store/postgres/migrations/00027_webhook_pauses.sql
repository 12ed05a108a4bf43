-- Until when the receiver of an endpoint asked not to be called.

-- +goose Up
alter table webhooks add column paused_until timestamptz(3);

-- +goose Down
alter table webhooks drop column paused_until;
