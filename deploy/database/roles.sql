-- Two roles of PostgreSQL: one owns the tables and makes them, the other is the server's and can't drop a trigger.
-- By a superuser, in a session that keeps no history:
--   OWNER_PASSWORD=… SERVER_PASSWORD=… psql -d postgres -f roles.sql
-- It may be run again: roles that are there stay, with their passwords.  For a further database of the same two,
-- as for a restore: -v database=NAME.
\set ON_ERROR_STOP on
\getenv owner_password OWNER_PASSWORD
\getenv server_password SERVER_PASSWORD
\if :{?database}
\else
  \set database benchquorum
\endif
SELECT format('CREATE ROLE owner_of_benchquorum LOGIN PASSWORD %L', :'owner_password')
  WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'owner_of_benchquorum') \gexec
SELECT format('CREATE ROLE benchquorum LOGIN PASSWORD %L', :'server_password')
  WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'benchquorum') \gexec
SELECT format('CREATE DATABASE %I OWNER owner_of_benchquorum', :'database')
  WHERE NOT EXISTS (SELECT FROM pg_database WHERE datname = :'database') \gexec
REVOKE ALL ON DATABASE :"database" FROM PUBLIC;
GRANT CONNECT ON DATABASE :"database" TO benchquorum;
\connect :"database"
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT USAGE, CREATE ON SCHEMA public TO owner_of_benchquorum;
GRANT USAGE ON SCHEMA public TO benchquorum;
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO benchquorum;
GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO benchquorum;
ALTER DEFAULT PRIVILEGES FOR ROLE owner_of_benchquorum IN SCHEMA public
  GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO benchquorum;
ALTER DEFAULT PRIVILEGES FOR ROLE owner_of_benchquorum IN SCHEMA public
  GRANT USAGE, SELECT ON SEQUENCES TO benchquorum;
-- PostgreSQL notices within 25 s that the machine of a server or a worker is gone: what it had locked is free then.
ALTER ROLE benchquorum SET tcp_keepalives_idle = 10;
ALTER ROLE benchquorum SET tcp_keepalives_interval = 5;
ALTER ROLE benchquorum SET tcp_keepalives_count = 3;
ALTER ROLE benchquorum SET tcp_user_timeout = 25000;
