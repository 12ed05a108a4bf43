-- +goose Up
create table order_plans (
    order_id       text    not null primary key references orders (id),
    schema_version integer not null check (schema_version >= 1),
    body           text    not null,
    planned_at     integer not null,
    p50            integer,
    p80            integer,
    p95            integer,
    finished_at    integer,
    check ((p50 is null) = (p80 is null) and (p80 is null) = (p95 is null))
) strict;

create index order_plans_finished on order_plans (finished_at, order_id) where finished_at is not null;

create table observations (
    order_id    text    not null references orders (id),
    operation   text    not null check (operation <> ''),
    kind        text    not null check (kind <> ''),
    estimate    real    not null check (estimate > 0),
    actual      real    not null check (actual > 0),
    finished_at integer not null,
    primary key (order_id, operation)
) strict, without rowid;

create index observations_listed on observations (finished_at, order_id, operation);

-- +goose Down
drop table observations;
drop table order_plans;
