// Package validate judges debriefs by labels that people set on a film of the ride or counted at the rail.
//
// The story: labels are read ([ReadLabels]); several people's labels of one ride are first held against each
// other ([Raters]); the film's clock is brought to the ride's by the take-offs and landings that both have
// ([Match]), and is refused where more than one offset would fit; each label is then paired with what the
// debrief found ([Ride]), an event's own clock being the one that the other efforts give, so that no event is
// judged by a clock that it helped to set; the pairs of all rides are summed up ([Sum]): counts, detection,
// limits of agreement with repeated measures, confusion of gaits and leads, and how often the 90 % intervals
// held the label. [Text], [HTML], [JSON] and [PairsCSV] write the result.
//
// A shift that all events of a film share can't be told from the offset between the clocks, unless that is
// given; the report says so.
package validate
