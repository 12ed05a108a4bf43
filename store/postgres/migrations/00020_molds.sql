-- strip numbers the strips of the long side that the register is searched by; see
-- package register. Sizes are mm.

-- +goose Up
create table molds (
    id               uuid             not null primary key,
    dealer_id        uuid             references dealers (id),
    version          integer          not null check (version >= 1),
    tag              text             not null,
    configuration_id uuid             references configurations (id),
    part             text collate "C" not null,
    class            text collate "C" not null,
    fingerprint      text collate "C" not null,
    hatch            text collate "C" not null,
    strip            integer          not null,
    long_side        double precision not null,
    short_side       double precision not null check (short_side <= long_side),
    least_radius     double precision not null,
    face             text             not null,
    remaining_pulls  integer          not null check (remaining_pulls >= 0),
    pulls            integer          not null check (pulls >= 0),
    state            text             not null check (state in ('ready', 'in_use', 'retired')),
    location         text             not null,
    note             text             not null,
    created_at       timestamptz(3)   not null,
    updated_at       timestamptz(3)   not null
);

create unique index molds_tag on molds (tag) where tag <> '' and state <> 'retired';
create index molds_listed on molds (created_at, id);
create index molds_of_dealer on molds (dealer_id, created_at, id);
create index molds_by_fingerprint on molds (fingerprint) where state <> 'retired' and remaining_pulls > 0;
create index molds_by_hatch on molds (hatch, part) where state <> 'retired' and remaining_pulls > 0;
create index molds_by_size on molds (class, strip, short_side, long_side) where state <> 'retired' and remaining_pulls > 0;

-- Parts come out of a mold for its dealer alone, or for everybody.
alter table molds enable row level security;
alter table molds force row level security;
create policy read on molds for select
    using ((select hatchwright_scope()) = 'shop'
           or dealer_id = (select hatchwright_dealer())
           or (dealer_id is null and (select hatchwright_scope()) <> ''));
create policy write on molds using ((select hatchwright_scope()) = 'shop');

-- +goose Down
drop table molds;
