-- strip numbers the strips of the long side that the register is searched by; see
-- package register. Sizes are mm.

-- +goose Up
create table molds (
    id               text    not null primary key,
    dealer_id        text    references dealers (id),
    version          integer not null check (version >= 1),
    tag              text    not null,
    configuration_id text    references configurations (id),
    part             text    not null,
    class            text    not null,
    fingerprint      text    not null,
    hatch            text    not null,
    strip            integer not null,
    long_side        real    not null,
    short_side       real    not null check (short_side <= long_side),
    least_radius     real    not null,
    face             text    not null,
    remaining_pulls  integer not null check (remaining_pulls >= 0),
    pulls            integer not null check (pulls >= 0),
    state            text    not null check (state in ('ready', 'in_use', 'retired')),
    location         text    not null,
    note             text    not null,
    created_at       integer not null,
    updated_at       integer not null
) strict;

create unique index molds_tag on molds (tag) where tag <> '' and state <> 'retired';
create index molds_listed on molds (created_at, id);
create index molds_of_dealer on molds (dealer_id, created_at, id);
create index molds_by_fingerprint on molds (fingerprint) where state <> 'retired' and remaining_pulls > 0;
create index molds_by_hatch on molds (hatch, part) where state <> 'retired' and remaining_pulls > 0;
create index molds_by_size on molds (class, strip, short_side, long_side, dealer_id) where state <> 'retired' and remaining_pulls > 0;

-- +goose Down
drop table molds;
