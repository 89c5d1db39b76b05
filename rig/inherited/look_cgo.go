//go:build cgo && unix

package inherited

/*
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <unistd.h>

// A bit for each standard stream that was closed.
static int closed_streams;

static void look_at_streams(void) {
	for (int fd = 0; fd <= 2; fd++)
		if (fcntl(fd, F_GETFD) == -1 && errno == EBADF)
			closed_streams |= 1 << fd;
}

// The Go runtime reserves some 0.7 to 1.5 GB of addresses on a 64 bit machine before it runs any
// Go code, and a thread takes 64 MB of them; it ends with status 2 where it cannot have them, which
// would be taken for a verdict.
static void look_at_addresses(void) {
	static const char told[] = "makebreak: too little address space (ulimit -v): the program needs 2000000 KiB or no limit\n";
	const int own_fault = 70;
	struct rlimit most;
	if (sizeof(void *) < 8 || getrlimit(RLIMIT_AS, &most) != 0 || most.rlim_cur == RLIM_INFINITY)
		return;
	if (most.rlim_cur / 1024 < 2000000) {
		if (write(2, told, sizeof told - 1) < 0) {} // nobody is left to be told of an error
		_exit(own_fault);
	}
}

// A signal that asks the program to end may come before the Go runtime has begun, which then takes
// its signals over. Who ignores a signal, as nohup does, goes on ignoring it.
static void interrupted(int signal) { _exit(130); }

static void take_signals(void) {
	static const int requests[] = {SIGINT, SIGTERM, SIGQUIT, SIGHUP};
	for (unsigned i = 0; i < sizeof requests / sizeof *requests; i++)
		if (signal(requests[i], interrupted) == SIG_IGN)
			signal(requests[i], SIG_IGN);
}

__attribute__((constructor)) static void look(void) {
	take_signals();
	look_at_streams();
	look_at_addresses();
}

static int closed_at_start(int fd) { return closed_streams >> fd & 1; }
*/
import "C"

// Known says whether the program could look before the Go runtime began.
const Known = true

// closed says whether a standard stream, by its descriptor 0 to 2, was closed.
func closed(fd int) bool { return C.closed_at_start(C.int(fd)) != 0 }
