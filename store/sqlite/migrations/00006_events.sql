-- Events get their sequence from the one row of event_counter, so that it never
-- comes back, whatever happens to the events.

-- +goose Up
create table event_counter (
    one  integer not null primary key default 1 check (one = 1),
    last integer not null
) strict;

insert into event_counter (last) values (0);

create table events (
    sequence     integer not null primary key,
    id           text    not null unique,
    kind         text    not null check (kind <> ''),
    dealer_id    text    references dealers (id),
    subject_kind text    not null check (subject_kind <> ''),
    subject_id   text    not null,
    key_id       text,
    role         text    not null,
    created_at   integer not null,
    body         text    not null
) strict;

create index events_of_dealer on events (dealer_id, sequence);
create index events_of_subject on events (subject_id, subject_kind, sequence);

-- +goose StatementBegin
create trigger events_never_change before update on events
begin
    select raise(abort, 'an event never changes');
end;
-- +goose StatementEnd

-- +goose StatementBegin
create trigger events_never_go before delete on events
begin
    select raise(abort, 'an event is never removed');
end;
-- +goose StatementEnd

-- +goose Down
drop trigger events_never_go;
drop table events;
drop table event_counter;
