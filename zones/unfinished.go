package zones

// unfinishedRun is a run that the last process did not settle.
type unfinishedRun struct{ zone, because string }

// unfinished finds runs that were open when the last process ended. They count
// whole; a person is told.
func (r *Room) unfinished() []unfinishedRun {
	var found []unfinishedRun
	seen := map[string]bool{}
	for _, key := range sortedKeys(r.mem.Outputs) {
		for i := range r.mem.Outputs[key].Charges {
			c := &r.mem.Outputs[key].Charges[i]
			if !c.Open || seen[c.Run] {
				continue
			}
			seen[c.Run] = true
			found = append(found, unfinishedRun{c.Zone, sprintf("run %s of %s was not finished when the gateway ended: all of its %s count", c.Run, c.Zone, words(c.Amount))})
		}
	}
	return found
}
