-- Events get their sequence from the one row of event_counter, which a writer
-- holds from there to the end of its transaction: sequences rise in the order in
-- which events become visible, and a transaction that is undone gives its numbers
-- back. A sequence object would not do: its numbers are given before the commit,
-- so that a reader could pass a smaller one that was still to come.

-- +goose Up
create table event_counter (
    one  boolean not null primary key default true check (one),
    last bigint  not null
);

insert into event_counter (last) values (0);

-- Everybody's transactions take numbers. None is added or taken away.
alter table event_counter enable row level security;
alter table event_counter force row level security;
create policy read on event_counter for select using (true);
create policy write on event_counter for update using (true);

create table events (
    sequence     bigint         not null primary key,
    id           uuid           not null unique,
    kind         text           not null check (kind <> ''),
    dealer_id    uuid           references dealers (id),
    subject_kind text           not null check (subject_kind <> ''),
    subject_id   uuid           not null,
    key_id       uuid,
    role         text           not null,
    created_at   timestamptz(3) not null,
    body         text           not null
);

create index events_of_dealer on events (dealer_id, sequence);
create index events_of_subject on events (subject_id, subject_kind, sequence);

create trigger never_changes before update or delete on events
    for each row execute function hatchwright_never_changes();

alter table events enable row level security;
alter table events force row level security;
create policy scope on events
    using ((select hatchwright_scope()) = 'shop'
           or dealer_id = (select hatchwright_dealer())
           or (dealer_id is null and (select hatchwright_scope()) = 'house'));

-- +goose Down
drop table events;
drop table event_counter;
