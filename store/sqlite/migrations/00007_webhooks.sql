-- webhook_progress has one row: the sequence up to which events were made into
-- deliveries.

-- +goose Up
create table webhooks (
    id              text    not null primary key,
    dealer_id       text    references dealers (id),
    version         integer not null check (version >= 1),
    url             text    not null check (url <> ''),
    kinds           text    not null,
    secrets         text    not null,
    since           integer not null,
    failing_since   integer,
    disabled_at     integer,
    disabled_reason text    not null,
    created_at      integer not null,
    updated_at      integer not null
) strict, without rowid;

create index webhooks_listed on webhooks (created_at, id);
create index webhooks_of_dealer on webhooks (dealer_id, created_at, id);

create table webhook_deliveries (
    id            text    not null primary key,
    webhook_id    text    not null references webhooks (id) on delete cascade,
    dealer_id     text    references dealers (id),
    event_id      text    not null references events (id),
    event_kind    text    not null,
    sequence      integer not null check (sequence >= 1),
    subject       text    not null,
    state         text    not null check (state in ('pending', 'delivered', 'parked')),
    attempts      integer not null check (attempts >= 0),
    next_at       integer not null,
    last_status   integer not null,
    last_error    text    not null,
    attempted_at  integer,
    delivered_at  integer,
    created_at    integer not null,
    claimed_by    text,
    claimed_until integer,
    unique (webhook_id, event_id),
    check (state <> 'delivered' or delivered_at is not null)
) strict;

create index webhook_deliveries_due on webhook_deliveries (next_at, sequence) where state = 'pending';
create index webhook_deliveries_claimed on webhook_deliveries (webhook_id, claimed_until) where claimed_until is not null;
create index webhook_deliveries_in_order on webhook_deliveries (webhook_id, subject, sequence) where delivered_at is null;
create index webhook_deliveries_listed on webhook_deliveries (webhook_id, created_at, id);

create table webhook_progress (
    one      integer not null primary key default 1 check (one = 1),
    sequence integer not null
) strict;

insert into webhook_progress (sequence) values (0);

-- +goose Down
drop table webhook_progress;
drop table webhook_deliveries;
drop table webhooks;
