-- Pulls of registered molds that orders have set aside, and those that they took.

-- +goose Up
create table mold_reservations (
    order_id uuid    not null references orders (id),
    mold_id  uuid    not null references molds (id),
    pulls    integer not null check (pulls >= 0),
    taken    integer not null check (taken >= 0),
    primary key (order_id, mold_id)
);

create index mold_reservations_of_mold on mold_reservations (mold_id) where pulls > 0;

alter table mold_reservations enable row level security;
alter table mold_reservations force row level security;
create policy scope on mold_reservations using ((select hatchwright_scope()) = 'shop');

-- +goose Down
drop table mold_reservations;
