"""What a table's own policy cannot say: people see themselves, the resolver sees hashes, the audit trail stays."""

from django.db import migrations

PERSON = "NULLIF(current_setting('resurf.person', true), '')::uuid"
CONTRACTOR = "NULLIF(current_setting('resurf.contractor', true), '')::uuid"

FORWARD = f"""
ALTER TABLE shared_person ENABLE ROW LEVEL SECURITY;
ALTER TABLE shared_person FORCE ROW LEVEL SECURITY;
CREATE POLICY shared_person_self ON shared_person
    USING (id = (SELECT {PERSON})) WITH CHECK (id = (SELECT {PERSON}));
CREATE POLICY shared_person_colleague ON shared_person FOR SELECT
    USING (EXISTS (SELECT 1 FROM shared_membership m
                   WHERE m.person_id = shared_person.id AND m.contractor_id = (SELECT {CONTRACTOR})));
CREATE POLICY shared_membership_self ON shared_membership FOR SELECT
    USING (person_id = (SELECT {PERSON}));

GRANT USAGE ON SCHEMA public TO resurf_resolver;
GRANT SELECT (id, email) ON shared_person TO resurf_resolver;
GRANT SELECT (id, contractor_id, kind, token_hash) ON shared_accesstoken TO resurf_resolver;
CREATE POLICY shared_person_resolver ON shared_person FOR SELECT TO resurf_resolver USING (true);
CREATE POLICY shared_accesstoken_resolver ON shared_accesstoken FOR SELECT TO resurf_resolver USING (true);

CREATE FUNCTION resurf_person_by_email(wanted text) RETURNS uuid
    LANGUAGE sql STABLE STRICT SECURITY DEFINER SET search_path = pg_catalog, public
    AS $$ SELECT id FROM public.shared_person WHERE email = wanted $$;
CREATE FUNCTION resurf_token(wanted_kind text, wanted_hash text)
    RETURNS TABLE (contractor_id uuid, token_id uuid)
    LANGUAGE sql STABLE STRICT SECURITY DEFINER SET search_path = pg_catalog, public
    AS $$ SELECT t.contractor_id, t.id FROM public.shared_accesstoken t
          WHERE t.token_hash = wanted_hash AND t.kind = wanted_kind $$;

GRANT CREATE ON SCHEMA public TO resurf_resolver;
ALTER FUNCTION resurf_person_by_email(text) OWNER TO resurf_resolver;
ALTER FUNCTION resurf_token(text, text) OWNER TO resurf_resolver;
REVOKE CREATE ON SCHEMA public FROM resurf_resolver;
SET ROLE resurf_resolver;
REVOKE ALL ON FUNCTION resurf_person_by_email(text) FROM PUBLIC;
REVOKE ALL ON FUNCTION resurf_token(text, text) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION resurf_person_by_email(text) TO resurf_app;
GRANT EXECUTE ON FUNCTION resurf_token(text, text) TO resurf_app;
RESET ROLE;

REVOKE UPDATE, DELETE, TRUNCATE ON shared_auditentry FROM resurf_app;
"""

BACKWARD = """
GRANT UPDATE, DELETE ON shared_auditentry TO resurf_app;
DROP FUNCTION resurf_token(text, text);
DROP FUNCTION resurf_person_by_email(text);
DROP POLICY shared_accesstoken_resolver ON shared_accesstoken;
DROP POLICY shared_person_resolver ON shared_person;
DROP POLICY shared_membership_self ON shared_membership;
DROP POLICY shared_person_colleague ON shared_person;
DROP POLICY shared_person_self ON shared_person;
ALTER TABLE shared_person NO FORCE ROW LEVEL SECURITY;
ALTER TABLE shared_person DISABLE ROW LEVEL SECURITY;
"""


class Migration(migrations.Migration):
    dependencies = [("shared", "0001_initial")]

    operations = [migrations.RunSQL(FORWARD, BACKWARD)]
