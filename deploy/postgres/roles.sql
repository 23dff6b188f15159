-- Roles of the histories' database, made once by the database's administrator:
--   createdb seafret && psql -d seafret -v ON_ERROR_STOP=1 -f roles.sql
-- Programs sign in as members of these:
--   CREATE ROLE gateway LOGIN PASSWORD '...' IN ROLE seafret_writer;
--   CREATE ROLE analyst LOGIN PASSWORD '...' IN ROLE seafret_reader;
--   ALTER ROLE gateway SET role = 'seafret_writer';   -- so that all gateways own the tables together
--
-- seafret_writer makes a schema for each site and everything in it. seafret_reader may read every
-- site and write nothing; the writer grants that on each schema that it makes.

CREATE ROLE seafret_writer NOLOGIN;
CREATE ROLE seafret_reader NOLOGIN;

SELECT current_database() AS here \gset
REVOKE ALL ON DATABASE :"here" FROM PUBLIC;
REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT CONNECT ON DATABASE :"here" TO seafret_reader;
GRANT CONNECT, CREATE ON DATABASE :"here" TO seafret_writer;
