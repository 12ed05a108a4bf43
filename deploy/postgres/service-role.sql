-- The role that the service connects as: it owns its database and nothing else of the
-- server. It is no superuser and has no BYPASSRLS, so that row-level security, which the
-- schema forces on owners too, binds it. Migrations take no other role. psql runs this
-- when the server is set up; the tests run it with names of their own.
\set role hatchwright
\set database hatchwright
\set password `cat /run/secrets/service_password`

-- A statement that fails would stand in the server's log, password and all.
set log_min_error_statement = panic;
create role :"role" login nosuperuser nobypassrls nocreatedb nocreaterole noreplication password :'password';
alter database :"database" owner to :"role";
