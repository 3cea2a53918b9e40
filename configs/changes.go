package configs

// Changes says in words what an apply of the new configuration changes; none when
// the two are the same in all that counts. Without an old one everything is new.
func Changes(old, new *Loaded) []string {
	var before []fact
	if old != nil {
		before = factsOf(old)
	}
	return compareFacts(before, factsOf(new))
}

// subjects gives the subjects in order of their first fact, with their facts by key.
func subjects(facts []fact) (order []string, by map[string]map[string]string) {
	by = map[string]map[string]string{}
	for _, f := range facts {
		if by[f.subject] == nil {
			by[f.subject] = map[string]string{}
			order = append(order, f.subject)
		}
		by[f.subject][f.key] = f.value
	}
	return order, by
}

func compareFacts(old, new []fact) (out []string) {
	oldOrder, before := subjects(old)
	newOrder, after := subjects(new)
	for _, s := range oldOrder {
		if after[s] == nil {
			out = append(out, s+" is removed"+removedWords(s))
		}
	}
	for _, s := range newOrder {
		if before[s] == nil {
			out = append(out, s+" is new")
			continue
		}
		out = append(out, compareSubject(s, old, new, before[s], after[s])...)
	}
	return out
}

func removedWords(subject string) string {
	if len(subject) > 5 && subject[:5] == "zone " {
		return ": it closes first"
	}
	return ""
}

// compareSubject tells what a subject loses, changes and gains, in the order of the facts.
func compareSubject(s string, old, new []fact, before, after map[string]string) (out []string) {
	for _, f := range old {
		if _, still := after[f.key]; f.subject == s && !still {
			out = append(out, s+": "+f.key+" is removed (was "+f.value+")")
		}
	}
	for _, f := range new {
		if f.subject != s {
			continue
		}
		was, known := before[f.key]
		switch {
		case !known:
			out = append(out, s+": "+f.key+" is new: "+f.value)
		case was != f.value:
			out = append(out, s+": "+f.key+" from "+was+" to "+f.value)
		}
	}
	return out
}
