"""Erasure: values of the trail are blanked by one function, which cannot do it in silence.

The service may add to the trail and nothing else. This function runs as a role that nobody can log in as; it may
change three columns (before, after, origin) of the active contractor's entries and no other, blanks every value that
is not named as one of the work, and adds the entry that says so in the same statement.
"""

from django.db import migrations

FORWARD = """
GRANT SELECT, INSERT ON shared_auditentry TO resurf_resolver;
GRANT UPDATE (before, after, origin) ON shared_auditentry TO resurf_resolver;

CREATE FUNCTION resurf_trail_blank(
    entry_id uuid, at_time timestamptz, by_whom text, from_where text, about uuid, counts jsonb,
    subjects uuid[], pools text[], kept_values text[], themselves text[])
    RETURNS integer LANGUAGE plpgsql STRICT SECURITY DEFINER SET search_path = pg_catalog, public
AS $$
DECLARE
    firm uuid := NULLIF(current_setting('resurf.contractor', true), '')::uuid;
    changed integer;
BEGIN
    IF firm IS NULL THEN
        RAISE EXCEPTION 'no contractor is active';
    END IF;
    UPDATE public.shared_auditentry e SET
        before = CASE WHEN jsonb_typeof(e.before) = 'object' THEN (
            SELECT jsonb_object_agg(v.key, CASE WHEN v.key = ANY (kept_values) AND jsonb_typeof(v.value) <> 'object'
                                                THEN v.value ELSE '"erased"'::jsonb END)
            FROM jsonb_each(e.before) v) END,
        after = CASE WHEN jsonb_typeof(e.after) = 'object' THEN (
            SELECT jsonb_object_agg(v.key, CASE WHEN v.key = ANY (kept_values) AND jsonb_typeof(v.value) <> 'object'
                                                THEN v.value ELSE '"erased"'::jsonb END)
            FROM jsonb_each(e.after) v) END,
        origin = CASE WHEN e.who = ANY (themselves) THEN 'erased' ELSE e.origin END
    WHERE e.contractor_id = firm AND e.what <> 'pool owner erased'
      AND (e.subject_id = ANY (subjects) OR e.before->>'pool' = ANY (pools) OR e.after->>'pool' = ANY (pools));
    GET DIAGNOSTICS changed = ROW_COUNT;
    INSERT INTO public.shared_auditentry (id, contractor_id, at, who, what, subject, subject_id, before, after, origin)
    VALUES (entry_id, firm, at_time, by_whom, 'pool owner erased', 'poolowner', about, NULL,
            counts || jsonb_build_object('trail', changed), from_where);
    RETURN changed;
END
$$;

GRANT CREATE ON SCHEMA public TO resurf_resolver;
ALTER FUNCTION resurf_trail_blank(uuid, timestamptz, text, text, uuid, jsonb, uuid[], text[], text[], text[])
    OWNER TO resurf_resolver;
REVOKE CREATE ON SCHEMA public FROM resurf_resolver;
SET ROLE resurf_resolver;
REVOKE ALL ON FUNCTION resurf_trail_blank(uuid, timestamptz, text, text, uuid, jsonb, uuid[], text[], text[], text[])
    FROM PUBLIC;
GRANT EXECUTE ON FUNCTION resurf_trail_blank(uuid, timestamptz, text, text, uuid, jsonb, uuid[], text[], text[], text[])
    TO resurf_app;
RESET ROLE;
"""

BACKWARD = """
DROP FUNCTION resurf_trail_blank(uuid, timestamptz, text, text, uuid, jsonb, uuid[], text[], text[], text[]);
REVOKE SELECT, INSERT, UPDATE ON shared_auditentry FROM resurf_resolver;
"""


class Migration(migrations.Migration):
    dependencies = [("shared", "0007_sessions_and_keys")]

    operations = [migrations.RunSQL(FORWARD, BACKWARD)]
