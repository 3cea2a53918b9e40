package virtual

import "rillgate/zones"

func (w *World) controller(id string) *Controller {
	for _, c := range w.controllers {
		if c.ID == id {
			return c
		}
	}
	return nil
}

func (w *World) input(id string) *input {
	for i := range w.inputs {
		if w.inputs[i].id == id {
			return &w.inputs[i]
		}
	}
	return nil
}

func (w *World) controllerIDs() []string {
	ids := make([]string, len(w.controllers))
	for i, c := range w.controllers {
		ids[i] = c.ID
	}
	return ids
}

func (w *World) inputIDs() []string {
	ids := make([]string, len(w.inputs))
	for i := range w.inputs {
		ids[i] = w.inputs[i].id
	}
	return ids
}

// outputOf finds the output of a valve, or of a supply's master.
func outputOf(p *zones.Plan, valve string) (zones.Output, bool) {
	for i := range p.Valves {
		if p.Valves[i].ID == valve {
			return p.Valves[i].Output, true
		}
	}
	for i := range p.Supplies {
		if s := &p.Supplies[i]; s.Master != nil && s.ID+"-master" == valve {
			return s.Master.Output, true
		}
	}
	if p.Healthy != nil && valve == "healthy" {
		return *p.Healthy, true
	}
	return zones.Output{}, false
}

func valveIDs(p *zones.Plan) []string {
	var ids []string
	for i := range p.Valves {
		ids = append(ids, p.Valves[i].ID)
	}
	for i := range p.Supplies {
		if p.Supplies[i].Master != nil {
			ids = append(ids, p.Supplies[i].ID+"-master")
		}
	}
	if p.Healthy != nil {
		ids = append(ids, "healthy")
	}
	return ids
}
