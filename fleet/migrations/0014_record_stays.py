"""Lines of the record are never changed or removed, not even past Django.

Only the account and the organisation may be let go, when they are deleted.
"""

from django.db import migrations

GUARD = """
CREATE FUNCTION fleet_auditentry_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE'
        AND (NEW.id, NEW.at, NEW.name, NEW.what, NEW.about)
            = (OLD.id, OLD.at, OLD.name, OLD.what, OLD.about)
        AND NEW.address IS NOT DISTINCT FROM OLD.address
        AND (NEW.who_id IS NULL OR NEW.who_id = OLD.who_id)
        AND (NEW.organisation_id IS NULL OR NEW.organisation_id = OLD.organisation_id)
    THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'a line of the record is never changed or removed';
END $$;
CREATE TRIGGER stays BEFORE UPDATE OR DELETE ON fleet_auditentry
    FOR EACH ROW EXECUTE FUNCTION fleet_auditentry_stays();
"""
UNGUARD = """
DROP TRIGGER stays ON fleet_auditentry;
DROP FUNCTION fleet_auditentry_stays();
"""


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0013_course_of_days"),
    ]

    operations = [migrations.RunSQL(GUARD, UNGUARD)]
