package schedule

import (
	"testing"
	"time"
)

func BenchmarkAt(b *testing.B) {
	for _, year := range []int{2027, 2047} { // within the zone's table of changes and past it
		b.Run(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).Format("2006"), func(b *testing.B) {
			cal, z := usual(b, "America/Chicago"), &Zone{Named: true, Crop: firstCrop()}
			z.Crop.Stages[1].Windows = append(z.Crop.Stages[1].Windows, dated("rinse", "30 12 * * MON", 30*minute))
			z.Crop.Ends = 0
			at := time.Date(year, 3, 15, 12, 0, 0, 0, cal.Location)
			b.ReportAllocs()
			for b.Loop() {
				At(cal, z, at)
			}
		})
	}
}
