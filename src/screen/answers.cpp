#include "screen/answers.h"

#include <chrono>
#include <utility>

namespace pinproof::screen {

std::uint64_t Answers::ask() {
  const std::lock_guard lock(mutex_);
  answer_.reset();
  return ++asked_;
}

void Answers::put(Answer answer) {
  {
    const std::lock_guard lock(mutex_);
    if (answer.ask != asked_) return;  // to what is no longer asked
    answer_ = std::move(answer);
  }
  wake_.notify_all();
}

std::optional<Answer> Answers::get(std::uint64_t ask, Duration wait, const std::stop_token& stop) {
  std::unique_lock lock(mutex_);
  const auto there = [&] { return answer_ && answer_->ask == ask; };
  wake_.wait_for(lock, stop, std::chrono::duration<double>(wait.si()), there);
  if (!there()) return std::nullopt;
  return std::exchange(answer_, std::nullopt);
}

void Answers::forget() {
  const std::lock_guard lock(mutex_);
  answer_.reset();
}

}  // namespace pinproof::screen
