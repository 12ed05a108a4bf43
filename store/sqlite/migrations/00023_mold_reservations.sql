-- Pulls of registered molds that orders have set aside, and those that they took.

-- +goose Up
create table mold_reservations (
    order_id text    not null references orders (id),
    mold_id  text    not null references molds (id),
    pulls    integer not null check (pulls >= 0),
    taken    integer not null check (taken >= 0),
    primary key (order_id, mold_id)
) strict, without rowid;

create index mold_reservations_of_mold on mold_reservations (mold_id) where pulls > 0;

-- +goose Down
drop table mold_reservations;
