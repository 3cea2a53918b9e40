package schedule

// For gives the progress of the instance: p itself when it is that one's, else a
// fresh start.
func (p Progress) For(id string) Progress {
	if p.Instance == id {
		return p
	}
	return Progress{Instance: id}
}

// Decide says whether the open window wants water for the moisture seen, and what
// that look makes of its progress. It is to be asked on every look, also during a
// run, so that a series ends as soon as its level is seen. MaxShots and Rest are
// for the caller to keep. Without a known moisture a window wants nothing, unless
// it waters by time.
func Decide(w *Window, p Progress, s Sight) (Trigger, Progress) {
	switch {
	case w.Timed():
		return ByTime, p
	case !s.Known:
		return None, p
	case w.DryBack > 0:
		return w.driedBack(s), p
	case w.Below > 0 && w.StopAt > 0:
		p.Series = inSeries(w, p.Series, s.Moisture)
		return when(p.Series, BelowThreshold), p
	case w.Below > 0:
		return when(s.Moisture < w.Below, BelowThreshold), p
	default:
		p.Reached = p.Reached || s.Moisture >= w.StopAt
		return when(!p.Reached, ToLevel), p
	}
}

func (w *Window) driedBack(s Sight) Trigger {
	if s.FallKnown && s.Fall >= w.DryBack {
		return DriedBack
	}
	return when(s.Moisture < w.Floor, BelowThreshold)
}

// inSeries: a series begins under below and ends at stop_at.
func inSeries(w *Window, running bool, moisture Level) bool {
	if running {
		return moisture < w.StopAt
	}
	return moisture < w.Below
}

func when(wanted bool, t Trigger) Trigger {
	if wanted {
		return t
	}
	return None
}
