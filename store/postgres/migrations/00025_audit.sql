-- Who changed what. changes is JSON; key_id is no reference, so that entries never
-- hold a key back. Everybody's transactions add what they did; the shop alone reads.
-- Triggers, not privileges, keep entries as they are: they bind the table's owner
-- and superusers too.

-- +goose Up
create table audit_entries (
    id         uuid           not null primary key,
    created_at timestamptz(3) not null,
    key_id     uuid,
    key_name   text           not null,
    issuer     text           not null,
    subject    text           not null,
    role       text           not null,
    request_id text           not null,
    action     text           not null check (action <> ''),
    thing_kind text           not null check (thing_kind <> ''),
    thing_id   text           not null check (thing_id <> ''),
    outcome    text           not null check (outcome in ('done', 'unchanged')),
    changes    text           not null,
    check ((issuer = '') = (subject = ''))
);

create index audit_listed on audit_entries (created_at, id);
create index audit_of_key on audit_entries (key_id, created_at, id) where key_id is not null;
create index audit_of_subject on audit_entries (subject, created_at, id) where subject <> '';
create index audit_of_thing on audit_entries (thing_id, created_at, id);
create index audit_of_action on audit_entries (action, created_at, id);

create trigger never_changes before update or delete on audit_entries
    for each row execute function hatchwright_never_changes();
create trigger never_emptied before truncate on audit_entries
    for each statement execute function hatchwright_never_changes();

alter table audit_entries enable row level security;
alter table audit_entries force row level security;
create policy read on audit_entries for select using ((select hatchwright_scope()) = 'shop');
create policy add on audit_entries for insert with check ((select hatchwright_scope()) <> '');
-- Within reach of the shop alone, where the triggers refuse both.
create policy change on audit_entries for update using ((select hatchwright_scope()) = 'shop');
create policy remove on audit_entries for delete using ((select hatchwright_scope()) = 'shop');

-- +goose Down
drop table audit_entries;
