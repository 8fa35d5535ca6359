# Every target works on a clean checkout with Go and git.

.PHONY: test race faults soak generate fmt bench faultbench mutants build static vulnerable

# The test command of README.md.
test:
	go vet ./...
	go test ./...
	@for p in initdb postgres chromium npm pdftotext; do command -v $$p >/dev/null || echo "*** make test: $$p is not in the PATH; the tests that need it were SKIPPED (CI fails instead)"; done

# The same under the race detector, which takes several times as long.
race:
	go test -race ./...

# What a store goes through: kills, power failures at every kind of call, flipped
# bits, full disks, histories judged by an outside checker. make test does the same
# with smaller figures; CI runs these, soak those of a night and more.
FAULTS = go test -v -run 'Kill|Power|Flips|Migration|Full' ./server/store/sqlite
# PostgreSQL stopped and killed, and every statement of a publication made to fail.
DATABASE = go test -v -run 'Kill|Crashes|Away|EveryStatement|Injected|CutShort' ./server/store/postgres
# Histories that were tampered with.
FORGERIES = go test -v -run 'Forger' ./server/audit
# Watchers of the log, held against the log itself.
WATCHES = go test -v -run 'TestConcurrent$$' ./server/feed
# Requests made to hurt.
HOSTILE = go test -v -run 'Hostile' ./server

faults:
	$(FAULTS) -timeout 30m -cycles 200 -crash-points 2000 -flips 300 -operations 100000
	$(DATABASE) -timeout 30m -cycles 20 -stride 1
	$(FORGERIES) -timeout 30m -forgeries 1000
	$(WATCHES) -timeout 30m -events 200000
	$(HOSTILE) -timeout 30m -hostile 10000

soak:
	$(FAULTS) -timeout 0 -cycles 10000 -crash-points 100000 -flips 5000 -operations 10000000
	$(DATABASE) -timeout 0 -cycles 2000 -stride 1
	$(FORGERIES) -timeout 0 -forgeries 100000
	$(WATCHES) -timeout 0 -events 20000000
	$(HOSTILE) -timeout 0 -hostile 1000000

generate:
	go generate ./...

fmt:
	gofmt -w $$(git ls-files '*.go' | grep -v '^api/proofload/')

build:
	go build -trimpath -o proofload ./tools/proofload

bench:
	go run ./tools/bench

faultbench:
	go run ./tools/faultbench

# Faults planted one at a time in the rooms whose numbers and decisions can hurt someone;
# the share that the tests notice may only rise (tools/mutate/shares.txt).
mutants:
	go run ./tools/mutate

# What the compiler lets pass and a reader would not.
static:
	go tool staticcheck ./...

# Known holes in what we depend on. It needs the database of the Go project, and says
# so where that cannot be reached: not to have looked is not to have found nothing.
vulnerable:
	@go tool govulncheck ./... || { s=$$?; [ $$s = 3 ] || echo "govulncheck could not look (status $$s): its database was not reached, or the code does not load; nothing is known"; exit $$s; }
