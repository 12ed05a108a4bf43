-- Who changed what. changes is JSON; key_id is no reference, so that entries never
-- hold a key back.

-- +goose Up
create table audit_entries (
    id         text    not null primary key,
    created_at integer not null,
    key_id     text,
    key_name   text    not null,
    issuer     text    not null,
    subject    text    not null,
    role       text    not null,
    request_id text    not null,
    action     text    not null check (action <> ''),
    thing_kind text    not null check (thing_kind <> ''),
    thing_id   text    not null check (thing_id <> ''),
    outcome    text    not null check (outcome in ('done', 'unchanged')),
    changes    text    not null,
    check ((issuer = '') = (subject = ''))
) strict, without rowid;

create index audit_listed on audit_entries (created_at, id);
create index audit_of_key on audit_entries (key_id, created_at, id) where key_id is not null;
create index audit_of_subject on audit_entries (subject, created_at, id) where subject <> '';
create index audit_of_thing on audit_entries (thing_id, created_at, id);
create index audit_of_action on audit_entries (action, created_at, id);

-- +goose StatementBegin
create trigger audit_never_changes before update on audit_entries
begin
    select raise(abort, 'an audit entry never changes');
end;
-- +goose StatementEnd

-- +goose StatementBegin
create trigger audit_never_goes before delete on audit_entries
begin
    select raise(abort, 'an audit entry is never removed');
end;
-- +goose StatementEnd

-- +goose Down
drop trigger audit_never_goes;
drop table audit_entries;
