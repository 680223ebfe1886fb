-- Run once as the superuser of PostgreSQL 15 or later:
--   psql -v owner_password=… -v password=… -f database.sql
-- homedialysis_owner owns the tables and changes them at an upgrade. homedialysis serves pages: it reads and writes rows,
-- and can take no table, no trigger and no history away.
\set ON_ERROR_STOP on
CREATE ROLE homedialysis_owner LOGIN PASSWORD :'owner_password';
CREATE ROLE homedialysis LOGIN PASSWORD :'password';
CREATE DATABASE homedialysis OWNER homedialysis_owner ENCODING 'UTF8' TEMPLATE template0 LC_COLLATE 'C.UTF-8' LC_CTYPE 'C.UTF-8';
REVOKE ALL ON DATABASE homedialysis FROM PUBLIC;
GRANT CONNECT ON DATABASE homedialysis TO homedialysis;
\connect homedialysis
REVOKE ALL ON SCHEMA public FROM PUBLIC;
ALTER SCHEMA public OWNER TO homedialysis_owner;
GRANT USAGE ON SCHEMA public TO homedialysis;
ALTER DEFAULT PRIVILEGES FOR ROLE homedialysis_owner IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO homedialysis;
ALTER DEFAULT PRIVILEGES FOR ROLE homedialysis_owner IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO homedialysis;
ALTER DEFAULT PRIVILEGES FOR ROLE homedialysis_owner IN SCHEMA public GRANT EXECUTE ON FUNCTIONS TO homedialysis;
