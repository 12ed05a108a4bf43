-- Which quotes name a configuration: as long as one does, it stays. A trigger notes it, so
-- that a process of the version before, which knows nothing of it, notes it too.

-- What a dealer's keys did of late is counted before they do more.

-- +goose Up
create index events_by_dealer_keys on events (dealer_id, created_at) where role = 'dealer';

create table quote_configurations (
    quote_id         text not null references quotes (id),
    configuration_id text not null references configurations (id),
    primary key (quote_id, configuration_id)
) strict, without rowid;

create index quote_configurations_named on quote_configurations (configuration_id);

insert or ignore into quote_configurations (quote_id, configuration_id)
    select d.quote_id, c.id from quote_documents d, json_each(d.lines) l, configurations c where c.id = json_extract(l.value, '$.configuration_id');

-- +goose StatementBegin
create trigger quote_documents_name_configurations after insert on quote_documents
begin
    insert or ignore into quote_configurations (quote_id, configuration_id)
        select new.quote_id, c.id from json_each(new.lines) l, configurations c where c.id = json_extract(l.value, '$.configuration_id');
end;
-- +goose StatementEnd

create index quotes_withdrawn on quotes (updated_at) where state = 'withdrawn';
create index quotes_ending on quotes (valid_until) where state = 'open';
create index molds_of_configuration on molds (configuration_id) where configuration_id is not null;

-- +goose Down
drop index events_by_dealer_keys;
drop index molds_of_configuration;
drop index quotes_ending;
drop index quotes_withdrawn;
drop trigger quote_documents_name_configurations;
drop table quote_configurations;
