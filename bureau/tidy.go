package bureau

import (
	"context"
	"time"
)

// answersKept is how long a table of options that no line shows any more is kept. Issued quotations hold their own copy.
const answersKept = 30 * 24 * time.Hour

// Tidy forgets what can be computed again and nobody has looked at for a month. To be called about once a day; it says
// how many tables went.
func (b *Bureau) Tidy(ctx context.Context) (int64, error) {
	return b.p.Records.PruneTables(ctx, b.now().Add(-answersKept))
}
