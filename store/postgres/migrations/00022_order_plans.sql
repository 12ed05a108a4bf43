-- +goose Up
create table order_plans (
    order_id       uuid           not null primary key references orders (id),
    schema_version integer        not null check (schema_version >= 1),
    body           text           not null,
    planned_at     timestamptz(3) not null,
    p50            timestamptz(3),
    p80            timestamptz(3),
    p95            timestamptz(3),
    finished_at    timestamptz(3),
    check ((p50 is null) = (p80 is null) and (p80 is null) = (p95 is null))
);

create index order_plans_finished on order_plans (finished_at, order_id) where finished_at is not null;

create table observations (
    order_id    uuid             not null references orders (id),
    operation   text collate "C" not null check (operation <> ''),
    kind        text             not null check (kind <> ''),
    estimate    double precision not null check (estimate > 0),
    actual      double precision not null check (actual > 0),
    finished_at timestamptz(3)   not null,
    primary key (order_id, operation)
);

create index observations_listed on observations (finished_at, order_id, operation);

-- +goose StatementBegin
do $$ declare t text; begin
    foreach t in array array['order_plans', 'observations'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy scope on %I using ((select hatchwright_scope()) = ''shop'')', t);
    end loop;
end $$;
-- +goose StatementEnd

-- +goose Down
drop table observations;
drop table order_plans;
