package ledger

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// checksumBytes stand before every stored value: the CRC-32C of the key and the value, little-endian. The key takes
// part so that a value that turns up under another key is noticed.
const checksumBytes = 4

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// row is a verified value with its checksum.
type row struct {
	value []byte
	sum   uint32
}

// checksum covers the length of the key, the key and the value.
func checksum(full, value []byte) uint32 {
	var length [4]byte
	binary.LittleEndian.PutUint32(length[:], uint32(len(full)))
	sum := crc32.Update(0, castagnoli, length[:])
	sum = crc32.Update(sum, castagnoli, full)
	return crc32.Update(sum, castagnoli, value)
}

// closeRow fills in the checksum of a stored value whose first bytes were left free for it.
func closeRow(full, stored []byte) row {
	r := row{value: stored[checksumBytes:]}
	r.sum = checksum(full, r.value)
	binary.LittleEndian.PutUint32(stored, r.sum)
	return r
}

// openRow verifies a stored value.
func openRow(full, stored []byte) (row, bool) {
	if len(stored) < checksumBytes {
		return row{}, false
	}
	r := row{value: stored[checksumBytes:]}
	r.sum = checksum(full, r.value)
	return r, r.sum == binary.LittleEndian.Uint32(stored)
}

// storedRow makes a stored value, checksum still open, of a value.
func storedRow(value []byte) []byte {
	return append(make([]byte, checksumBytes, checksumBytes+len(value)), value...)
}

// damagedRow is the error of a row that does not verify. The row of a view is put right by rebuilding the view; any
// other is reported.
type damagedRow struct{ space, key string }

func (d *damagedRow) Error() string {
	return fmt.Sprintf("the stored row %q of %q fails its checksum", d.key, d.space)
}

// fault says what a damaged row means to whoever asked for it.
func (d *damagedRow) fault() *fault.Fault {
	if sequence, ok := sequenceOfKey(d.key); ok && d.space == spaceEntry {
		return entryDamaged(sequence, "its stored bytes fail their checksum")
	}
	return fault.Wrap(d, codes.DataLoss, "ROW_DAMAGED",
		"A stored row fails its checksum. Nothing was changed. Run the ledger check, and restore the ledger from a copy if it says so.")
}
