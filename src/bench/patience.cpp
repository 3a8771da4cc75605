#include "bench/patience.h"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <mutex>

#include "quantity/error.h"

namespace pinproof::bench {

void pause(Duration time, const Patience& patience) {
  std::mutex mutex;
  std::condition_variable_any never;
  std::unique_lock lock(mutex);
  const auto seconds = std::chrono::duration<double>(std::clamp(time.si(), 0.0, 1e6));
  never.wait_for(lock, patience.stop(), seconds, [] { return false; });
  if (patience.stopped()) throw Error(Fault::aborted, "stopped");
}

}  // namespace pinproof::bench
