-- The three roles of the service (see roles.py). Run by a superuser; running it again changes nothing.
DO $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'resurf_owner') THEN
        CREATE ROLE resurf_owner LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
    END IF;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'resurf_app') THEN
        CREATE ROLE resurf_app LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
    END IF;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'resurf_resolver') THEN
        CREATE ROLE resurf_resolver NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
    END IF;
END
$$;
-- So that a migration can hand the token function over: ALTER FUNCTION ... OWNER TO resurf_resolver.
GRANT resurf_resolver TO resurf_owner;
