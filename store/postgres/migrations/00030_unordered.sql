-- Which quotes name a configuration: as long as one does, it stays. A trigger notes it, so
-- that a process of the version before, which knows nothing of it, notes it too.

-- What a dealer's keys did of late is counted before they do more.

-- +goose Up
create index events_by_dealer_keys on events (dealer_id, created_at) where role = 'dealer';

create table quote_configurations (
    quote_id         uuid not null references quotes (id),
    configuration_id uuid not null references configurations (id),
    dealer_id        uuid references dealers (id),
    primary key (quote_id, configuration_id)
);

create index quote_configurations_named on quote_configurations (configuration_id);

-- The tables are under row-level security, their owner too: a migration is the shop's.
select set_config('hatchwright.scope', 'shop', true);

insert into quote_configurations (quote_id, configuration_id, dealer_id)
    select d.quote_id, c.id, d.dealer_id
    from quote_documents d, jsonb_array_elements(coalesce(nullif(d.lines::jsonb, 'null'), '[]')) l, configurations c
    where c.id = (l ->> 'configuration_id')::uuid
    on conflict do nothing;

select set_config('hatchwright.scope', '', true);

alter table quote_configurations enable row level security;
alter table quote_configurations force row level security;
create policy scope on quote_configurations
    using ((select hatchwright_scope()) = 'shop'
           or dealer_id = (select hatchwright_dealer())
           or (dealer_id is null and (select hatchwright_scope()) = 'house'));

-- +goose StatementBegin
create function hatchwright_names_configurations() returns trigger language plpgsql as $$ begin
    insert into quote_configurations (quote_id, configuration_id, dealer_id)
        select new.quote_id, c.id, new.dealer_id
        from jsonb_array_elements(coalesce(nullif(new.lines::jsonb, 'null'), '[]')) l, configurations c
        where c.id = (l ->> 'configuration_id')::uuid
        on conflict do nothing;
    return null;
end $$;
-- +goose StatementEnd

create trigger names_configurations after insert on quote_documents
    for each row execute function hatchwright_names_configurations();

create index quotes_withdrawn on quotes (updated_at) where state = 'withdrawn';
create index quotes_ending on quotes (valid_until) where state = 'open';
create index molds_of_configuration on molds (configuration_id) where configuration_id is not null;

-- +goose Down
drop index events_by_dealer_keys;
drop index molds_of_configuration;
drop index quotes_ending;
drop index quotes_withdrawn;
drop trigger names_configurations on quote_documents;
drop function hatchwright_names_configurations();
drop table quote_configurations;
