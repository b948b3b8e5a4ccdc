package ledger

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// MaxSealedBytes limits what is kept about one person.
const MaxSealedBytes = 64 << 10

const saltBytes = 32

// Sealed is one person's personal data, encrypted, on its way to the ledger as a command's Private part. It takes the
// place of what was kept about the person before.
type Sealed struct {
	Person     string
	Commitment []byte // SHA-256 of a random salt and the plain data, for the event to carry
	box        []byte // nonce, then AES-256-GCM of salt and plain data
}

// Seal encrypts what is to be kept about a person under that person's own key, making the key when there is none. The
// commitment shows nothing about the data and can be compared only by Unseal.
func (l *Ledger) Seal(person string, plain []byte) (Sealed, []byte, error) {
	if err := checkName("person", person, 1); err != nil {
		return Sealed{}, nil, err
	}
	if len(plain) > MaxSealedBytes {
		return Sealed{}, nil, fault.New(codes.InvalidArgument, "TOO_MUCH_PERSONAL_DATA", fmt.Sprintf("What is kept about one person is limited to %d bytes.", MaxSealedBytes))
	}
	key, erased, err := l.keys.keyFor(person)
	if err != nil {
		return Sealed{}, nil, fault.Wrap(err, codes.Unavailable, "KEY_NOT_STORED", "The key that would protect the personal data could not be stored. Nothing was recorded. Look at the disk of the site.")
	}
	if erased {
		return Sealed{}, nil, personErased(person)
	}
	aead, err := sealing(key)
	if err != nil {
		return Sealed{}, nil, err
	}
	salted := make([]byte, saltBytes, saltBytes+len(plain))
	rand.Read(salted)
	salted = append(salted, plain...)
	commitment := sha256.Sum256(salted)
	nonce := make([]byte, aead.NonceSize())
	rand.Read(nonce)
	box := aead.Seal(nonce, nonce, salted, l.sealedFor(person))
	return Sealed{Person: person, Commitment: commitment[:], box: box}, commitment[:], nil
}

// Unseal decrypts what is kept about a person. When a commitment is given, it must be the one the data were sealed
// with. A person without data, and one who was erased, are NOT_FOUND, told apart by the reason.
func (l *Ledger) Unseal(person string, commitment ...[]byte) ([]byte, error) {
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	key, erased := l.keys.key(person)
	if erased {
		return nil, personErased(person)
	}
	r, ok, err := snap.get(spaceSealed, person)
	if err != nil {
		return nil, outward(err)
	}
	if !ok {
		return nil, fault.New(codes.NotFound, "NO_PERSONAL_DATA", "No personal data are kept about this person.", "person", person)
	}
	if key == nil {
		return nil, fault.New(codes.DataLoss, "KEY_MISSING", "The key to this person's data is missing from the key file. Put back a copy of the file.", "person", person)
	}
	return l.unbox(person, key, r.value, commitment...)
}

// unbox decrypts a stored record: the commitment, then the box.
func (l *Ledger) unbox(person string, key, stored []byte, commitment ...[]byte) ([]byte, error) {
	aead, err := sealing(key)
	if err != nil {
		return nil, err
	}
	damaged := func(cause error) error {
		return fault.Wrap(cause, codes.DataLoss, "SEALED_DAMAGED", "The personal data kept about this person cannot be decrypted or are not what was committed to. Enter them again.", "person", person)
	}
	if len(stored) < sha256.Size+aead.NonceSize() {
		return nil, damaged(errShort)
	}
	committed, nonce, box := stored[:sha256.Size], stored[sha256.Size:sha256.Size+aead.NonceSize()], stored[sha256.Size+aead.NonceSize():]
	salted, err := aead.Open(nil, nonce, box, l.sealedFor(person))
	if err != nil {
		return nil, damaged(err)
	}
	sum := sha256.Sum256(salted)
	if !bytes.Equal(sum[:], committed) || len(salted) < saltBytes {
		return nil, damaged(errors.New("the commitment does not match"))
	}
	for _, c := range commitment {
		if !bytes.Equal(c, committed) {
			return nil, fault.New(codes.FailedPrecondition, "OTHER_COMMITMENT", "The personal data kept about this person are not the ones this commitment was made for; they were changed since.", "person", person)
		}
	}
	return salted[saltBytes:], nil
}

// Erase destroys a person's key. What is kept about them can never be read again, here; a copy of the key file made
// earlier still holds the key. Nothing can be sealed for the person afterwards. Erasing twice is no error.
func (l *Ledger) Erase(person string) error {
	if err := checkName("person", person, 1); err != nil {
		return err
	}
	if err := l.keys.destroy(person, l.clock.Now()); err != nil {
		return fault.Wrap(err, codes.Unavailable, "KEY_NOT_DESTROYED", "The person's key could not be destroyed. Look at the disk of the site and try again.", "person", person)
	}
	return nil
}

// sealedFor binds a box to the site and the person, so that it cannot be passed off as another's.
func (l *Ledger) sealedFor(person string) []byte {
	return []byte("zonule sealed 1\x00" + l.site + "\x00" + person)
}

func sealing(key []byte) (cipher.AEAD, error) {
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, fault.Wrap(err, codes.DataLoss, "KEY_DAMAGED", "A person's key in the key file is damaged. Put back a copy of the file.")
	}
	return cipher.NewGCM(block)
}

func personErased(person string) error {
	return fault.New(codes.NotFound, "PERSON_ERASED", "This person was erased; their personal data no longer exist.", "person", person)
}
