-- webhook_progress has one row: the sequence up to which events were made into
-- deliveries. Whoever does so holds it.

-- +goose Up
create table webhooks (
    id              uuid           not null primary key,
    dealer_id       uuid           references dealers (id),
    version         integer        not null check (version >= 1),
    url             text           not null check (url <> ''),
    kinds           text           not null,
    secrets         text           not null,
    since           bigint         not null,
    failing_since   timestamptz(3),
    disabled_at     timestamptz(3),
    disabled_reason text           not null,
    created_at      timestamptz(3) not null,
    updated_at      timestamptz(3) not null
);

create index webhooks_listed on webhooks (created_at, id);
create index webhooks_of_dealer on webhooks (dealer_id, created_at, id);

create table webhook_deliveries (
    id            uuid           not null primary key,
    webhook_id    uuid           not null references webhooks (id) on delete cascade,
    dealer_id     uuid           references dealers (id),
    event_id      uuid           not null references events (id),
    event_kind    text           not null,
    sequence      bigint         not null check (sequence >= 1),
    subject       uuid           not null,
    state         text           not null check (state in ('pending', 'delivered', 'parked')),
    attempts      integer        not null check (attempts >= 0),
    next_at       timestamptz(3) not null,
    last_status   integer        not null,
    last_error    text           not null,
    attempted_at  timestamptz(3),
    delivered_at  timestamptz(3),
    created_at    timestamptz(3) not null,
    claimed_by    uuid,
    claimed_until timestamptz(3),
    unique (webhook_id, event_id),
    check (state <> 'delivered' or delivered_at is not null)
);

create index webhook_deliveries_due on webhook_deliveries (next_at, sequence) where state = 'pending';
create index webhook_deliveries_claimed on webhook_deliveries (webhook_id, claimed_until) where claimed_until is not null;
create index webhook_deliveries_in_order on webhook_deliveries (webhook_id, subject, sequence) where delivered_at is null;
create index webhook_deliveries_listed on webhook_deliveries (webhook_id, created_at, id);

create table webhook_progress (
    one      boolean not null primary key default true check (one),
    sequence bigint  not null
);

insert into webhook_progress (sequence) values (0);

-- +goose StatementBegin
do $$ declare t text; begin
    foreach t in array array['webhooks', 'webhook_deliveries'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy scope on %I
            using ((select hatchwright_scope()) = ''shop''
                   or dealer_id = (select hatchwright_dealer())
                   or (dealer_id is null and (select hatchwright_scope()) = ''house''))', t);
    end loop;
end $$;
-- +goose StatementEnd

alter table webhook_progress enable row level security;
alter table webhook_progress force row level security;
create policy scope on webhook_progress using ((select hatchwright_scope()) = 'shop');

-- +goose Down
drop table webhook_progress;
drop table webhook_deliveries;
drop table webhooks;
