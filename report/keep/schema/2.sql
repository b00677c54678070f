-- The lines of a course are counted with their horses without looking at each ride. horse_id is as of the ride.
ALTER TABLE ridden ADD COLUMN horse_id INTEGER;
UPDATE ridden SET horse_id = (SELECT horse_id FROM ride WHERE ride.id = ridden.ride_id);
DROP INDEX ridden_by_line;
CREATE INDEX ridden_by_line ON ridden (course_id, from_id, to_id, horse_id, attempt, ride_id);
