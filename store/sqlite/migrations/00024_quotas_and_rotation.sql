-- A key can have a quota of units a day, and can be rotated into a successor. All
-- that came of one key by rotation share what is spent of a day: it is counted in
-- the row of the first, their root. Keys are never removed. A day is a UTC date, ISO
-- 8601; '' when nothing was spent yet.

-- +goose Up
alter table api_keys add column quota integer check (quota > 0);
alter table api_keys add column spent integer not null default 0 check (spent >= 0);
alter table api_keys add column spent_on text not null default '';
alter table api_keys add column rotated_from text;
alter table api_keys add column root_id text;

create unique index api_keys_rotated_from on api_keys (rotated_from) where rotated_from is not null;

-- +goose Down
drop index api_keys_rotated_from;
alter table api_keys drop column root_id;
alter table api_keys drop column rotated_from;
alter table api_keys drop column spent_on;
alter table api_keys drop column spent;
alter table api_keys drop column quota;
