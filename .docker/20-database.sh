#!/bin/sh
# Passwords of the two login roles, and the database. Runs once, after 10-roles.sql, as the superuser.
set -eu
psql --no-psqlrc --set ON_ERROR_STOP=1 --username "${POSTGRES_USER:-postgres}" --dbname postgres \
    --set owner_password="$RESURF_OWNER_PASSWORD" --set app_password="$RESURF_APP_PASSWORD" <<'SQL'
ALTER ROLE resurf_owner PASSWORD :'owner_password';
ALTER ROLE resurf_app PASSWORD :'app_password';
CREATE DATABASE resurf OWNER resurf_owner;
REVOKE ALL ON DATABASE resurf FROM PUBLIC;
GRANT CONNECT ON DATABASE resurf TO resurf_app;
SQL
