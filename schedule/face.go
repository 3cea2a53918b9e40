package schedule

import "time"

// A face is what the clock on the room's wall shows. It is kept as a time.Time in
// UTC that reads the same, so that arithmetic on it knows no daylight saving.

// widest bounds every offset of a zone from UTC. The widest on record is 15 h 57 min
// (Asia/Manila before 1845).
const widest = 24 * time.Hour

// wholeDay is a day on the clock face.
const wholeDay = 24 * time.Hour

// place gives the first instant at which the clock shows the face or a later one.
// A face that is shown twice so becomes its first showing; one that the clock
// skips becomes the end of the gap, and skipped is true. It never goes back: of
// two faces the later is not placed earlier.
func place(loc *time.Location, face time.Time) (at time.Time, skipped bool) {
	at = face.Add(-widest).In(loc)
	for {
		shown := face.Add(-offset(at)).In(loc)
		end, ends := offsetEnds(at)
		switch {
		case ends && !shown.Before(end):
			at = end
		case shown.Before(at):
			return at, true
		default:
			return shown, false
		}
	}
}

// read gives the face that the clock shows at an instant.
func read(at time.Time) time.Time {
	return at.Add(offset(at)).UTC()
}

func offset(at time.Time) time.Duration {
	_, seconds := at.Zone()
	return time.Duration(seconds) * time.Second
}

// offsetEnds gives an instant after at up to which the offset stays; false: it stays
// for ever. It is no later than the next change, but may be sooner: past the end of
// its table of changes the standard library cuts years out, and takes all of them
// for 365 days long. On 31 December of a leap year it so gives an end that is over
// already; no change is left in that year then, and midnight UTC is its end.
func offsetEnds(at time.Time) (end time.Time, ends bool) {
	if _, end = at.ZoneBounds(); end.IsZero() {
		return end, false
	}
	if !end.After(at) {
		end = at.Truncate(wholeDay).Add(wholeDay)
	}
	return end, true
}

// span gives bounds between which every face lies that place puts into [from, until].
// The offset just before from counts too: a gap may end there.
func span(loc *time.Location, from, until time.Time) (lo, hi time.Time) {
	at := from.Add(-1).In(loc)
	least, most := offset(at), offset(at)
	for {
		end, ends := offsetEnds(at)
		if !ends || end.After(until) {
			return from.Add(least).UTC(), until.Add(most).UTC()
		}
		at = end
		least, most = min(least, offset(at)), max(most, offset(at))
	}
}

// A day is a date as the number of days since 1970-01-01.
type day int

const secondsPerDay = 24 * 60 * 60

// dayOf gives the date of a face.
func dayOf(face time.Time) day {
	s := face.Unix()
	d := s / secondsPerDay
	if s%secondsPerDay < 0 {
		d--
	}
	return day(d)
}

// number gives the day of a date on the calendar.
func (d Date) number() day {
	return dayOf(time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC))
}

// face gives the face so long after the midnight that begins the day.
func (d day) face(after time.Duration) time.Time {
	return time.Unix(int64(d)*secondsPerDay, 0).UTC().Add(after)
}

// weekday: 1970-01-01 was a Thursday.
func (d day) weekday() time.Weekday {
	return time.Weekday(((int(d)+int(time.Thursday))%7 + 7) % 7)
}

// skips reports whether the room's clock leaves the whole day out, as Samoa's did
// on 2011-12-30 when it moved over the date line.
func skips(loc *time.Location, d day) bool {
	if _, skipped := place(loc, d.face(wholeDay/2)); !skipped {
		return false
	}
	begin, _ := place(loc, d.face(0))
	end, _ := place(loc, (d + 1).face(0))
	return begin.Equal(end)
}
