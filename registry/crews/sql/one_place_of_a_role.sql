-- The role of the place, so that nobody is counted twice in it.
ALTER TABLE crews_assignmentstate DISABLE TRIGGER USER;
UPDATE crews_assignmentstate state SET role = slot.role FROM crews_slot slot WHERE slot.id = state.slot_id;
ALTER TABLE crews_assignmentstate ENABLE TRIGGER USER;

CREATE OR REPLACE FUNCTION crews_assignment_stands() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_assignmentstate
        (assignment_id, slot_id, job_id, worker_id, role, supervises, decision_id, during, standing,
         reason)
    SELECT NEW.id, NEW.slot_id, s.job_id, NEW.worker_id, s.role,
           (s.role = 'erection_supervisor')::int, NEW.decision_id,
           tstzrange(NEW.start, NEW."end"), 'standing', ''
    FROM public.crews_slot s WHERE s.id = NEW.slot_id;
    RETURN NULL;
END
$$;

-- A leaving may be recorded late, for a time within the work; before both the work and the assignment it is a slip.
CREATE FUNCTION crews_leaving_follows_the_assignment() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF EXISTS (
        SELECT FROM public.crews_assignment assignment
        WHERE assignment.id = NEW.assignment_id
          -- Leaving is told in whole minutes.
          AND NEW.happened_at < least(assignment.start, date_trunc('minute', assignment.assigned_at))
    ) THEN
        RAISE EXCEPTION 'the assignment ends before it was made'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'nobody_leaves_before_they_were_put_in';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER leaving_follows_the_assignment BEFORE INSERT ON crews_assignmentevent
    FOR EACH ROW WHEN (NEW.kind = 'ended') EXECUTE FUNCTION crews_leaving_follows_the_assignment();
