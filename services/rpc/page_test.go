package rpc

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
)

func TestPageTokens(t *testing.T) {
	token := PageToken("persons/trainee", "ada-4")
	if after, err := PageAfter("persons/trainee", token); err != nil || after != "ada-4" {
		t.Errorf("came back as %q, %v", after, err)
	}
	if after, err := PageAfter("persons/trainee", ""); err != nil || after != "" {
		t.Errorf("the first page begins after %q, %v", after, err)
	}
	for name, bad := range map[string]string{
		"another list": PageToken("persons/director", "ada-4"), "cut": token[:len(token)-2], "only a mark": PageToken("persons/trainee", ""),
		"not base64": "!!", "changed": strings.ToUpper(token),
	} {
		if _, err := PageAfter("persons/trainee", bad); fault.Code(err) != codes.InvalidArgument || fault.Reason(err) != "BAD_PAGE_TOKEN" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if PageSize(0, 50) != 50 || PageSize(7, 50) != 7 {
		t.Error("the page size is not the one asked for")
	}
}

func TestFingerprintTellsRequestsApart(t *testing.T) {
	a, err := Fingerprint(&rosterv1.DescribeProgrammeRequest{RequestId: "1", Name: "A"})
	if err != nil {
		t.Fatal(err)
	}
	same, _ := Fingerprint(&rosterv1.DescribeProgrammeRequest{RequestId: "1", Name: "A"})
	other, _ := Fingerprint(&rosterv1.DescribeProgrammeRequest{RequestId: "1", Name: "B"})
	if string(a) != string(same) || string(a) == string(other) {
		t.Error("fingerprints do not follow the content")
	}
}
