#include "app/stop.h"

#include <pthread.h>
#include <signal.h>

#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>

#include "quantity/error.h"

namespace pinproof::app {
namespace {

std::stop_source& source() {
  static std::stop_source the_source;
  return the_source;
}

}  // namespace

// A thread waits for the signals, so that no handler runs in the middle of
// anything. A second signal ends the program at once: the output may be on then,
// but a person who presses twice means it.
void listen_for_signals() {
  source();  // made before the thread needs it
  sigset_t set;
  sigemptyset(&set);
  for (const int signal : {SIGINT, SIGTERM, SIGHUP}) sigaddset(&set, signal);
  pthread_sigmask(SIG_BLOCK, &set, nullptr);
  ::signal(SIGPIPE, SIG_IGN);
  ::signal(SIGXFSZ, SIG_IGN);  // a file that may not grow is an error, not the end
  std::thread([set] {
    int got = 0;
    sigwait(&set, &got);
    source().request_stop();
    sigwait(&set, &got);
    std::quick_exit(5);
  }).detach();
}

std::stop_token stop_token() { return source().get_token(); }

void sleep_or_stop(double seconds) {
  std::mutex mutex;
  std::condition_variable_any wake;
  std::unique_lock lock(mutex);
  const auto stop = stop_token();
  wake.wait_for(lock, stop, std::chrono::duration<double>(seconds), [] { return false; });
  if (stop.stop_requested()) throw Error(Fault::aborted, "stopped");
}

}  // namespace pinproof::app
