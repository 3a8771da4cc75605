// The guardian's side: small, with no other work, and nothing that can block it
// from seeing that the main program is gone. Exchanges run on a worker thread;
// the first thread only listens.
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/eventfd.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <condition_variable>
#include <cstdio>
#include <functional>
#include <mutex>
#include <optional>
#include <thread>

#include "link/descriptor.h"
#include "link/guardian.h"
#include "link/packet.h"

namespace pinproof::link {
namespace {

constexpr int kOffTries = 60;
constexpr auto kOffPause = std::chrono::milliseconds(50);
constexpr int kMostStale = 5;  // late replies before the one to the query
const bench::Patience kOffPatience{Duration{0.5}};

// Runs one exchange at a time and rings when it is done.
class Worker {
 public:
  Worker() : done_(::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK)), thread_([this] { work(); }) {}
  ~Worker() {
    {
      const std::lock_guard lock(mutex_);
      over_ = true;
    }
    changed_.notify_all();
    thread_.join();
  }
  void start(std::function<void()> job) {
    const std::lock_guard lock(mutex_);
    job_ = std::move(job);
    changed_.notify_all();
  }
  int done() const { return done_.get(); }
  void take_ring() const {
    std::uint64_t count = 0;
    [[maybe_unused]] const auto got = ::read(done_.get(), &count, sizeof count);
  }

 private:
  void work() {
    std::unique_lock lock(mutex_);
    while (true) {
      changed_.wait(lock, [this] { return over_ || job_; });
      if (!job_) return;
      const auto job = std::exchange(job_, nullptr);
      lock.unlock();
      job();
      const std::uint64_t one = 1;
      [[maybe_unused]] const auto written = ::write(done_.get(), &one, sizeof one);
      lock.lock();
    }
  }

  Descriptor done_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::function<void()> job_;
  bool over_ = false;
  std::thread thread_;
};

class Guardian {
 public:
  explicit Guardian(int socket) : socket_(socket) {}
  int serve();

 private:
  std::optional<std::string> receive() const;
  void send(const std::string& packet) const {
    ::send(socket_, packet.data(), packet.size(), MSG_NOSIGNAL);
  }
  int wait_ms() const;
  bool late() const { return guard_until_ && Clock::now() >= *guard_until_; }
  void begin(const std::string& packet);
  std::string exchange(const std::string& packet, const std::stop_token& stop);
  void finish_exchange();
  void trip();
  bool try_off();
  bool switch_off();

  int socket_;
  std::string address_;
  OffMessages messages_;
  std::unique_ptr<Link> link_;
  std::optional<Clock::time_point> guard_until_;
  bool busy_ = false;
  bool tripped_ = false;
  std::string reply_;  // of the worker
  std::stop_source stop_;
  Worker worker_;
};

std::optional<std::string> Guardian::receive() const {
  std::string packet(kLongestPacket, '\0');
  const ssize_t got = ::recv(socket_, packet.data(), packet.size(), 0);
  if (got <= 0) return std::nullopt;
  packet.resize(static_cast<std::size_t>(got));
  return packet;
}

int Guardian::wait_ms() const {
  if (!guard_until_) return -1;
  const auto left =
      std::chrono::ceil<std::chrono::milliseconds>(*guard_until_ - Clock::now()).count();
  return static_cast<int>(std::clamp<long long>(left, 0, 1'000'000));
}

int Guardian::serve() {
  const auto hello = receive();
  if (!hello) return 1;
  PacketReader reader(*hello);
  reader.head();
  address_ = reader.text();
  messages_ = {reader.text(), {}};
  messages_.query = reader.text();
  link_ = open_link(address_);
  send("O");
  while (true) {
    std::array<pollfd, 2> watched{pollfd{socket_, POLLIN, 0}, pollfd{worker_.done(), POLLIN, 0}};
    ::poll(watched.data(), watched.size(), wait_ms());
    if (watched[1].revents != 0) {
      worker_.take_ring();
      busy_ = false;
      send(reply_);
    }
    if (late()) trip();
    if (watched[0].revents == 0) continue;
    const auto packet = receive();
    if (!packet) break;  // the main program is gone
    if (packet->front() == static_cast<char>(Ask::stop))
      stop_.request_stop();
    else if (!busy_)
      begin(*packet);
  }
  finish_exchange();
  return switch_off() ? 0 : 1;
}

void Guardian::begin(const std::string& packet) {
  if (packet.front() == static_cast<char>(Ask::guard)) {
    PacketReader reader(packet);
    reader.head();
    const double seconds = reader.number();
    guard_until_.reset();
    if (seconds > 0)
      guard_until_ = Clock::now() + std::chrono::duration_cast<Clock::duration>(
                                        std::chrono::duration<double>(seconds));
    return send("O");
  }
  busy_ = true;
  stop_ = std::stop_source();
  worker_.start([this, packet, stop = stop_.get_token()] { reply_ = exchange(packet, stop); });
}

std::string Guardian::exchange(const std::string& packet, const std::stop_token& stop) {
  try {
    PacketReader reader(packet);
    const auto ask = static_cast<Ask>(reader.head());
    const bench::Patience patience(Duration{reader.number()}, stop);
    if (tripped_) {
      tripped_ = false;
      throw Error(Fault::bench, address_ +
                                    ": the pulse was not ended in time: the guardian has "
                                    "switched the output off");
    }
    if (ask == Ask::write) link_->write(reader.text(), patience);
    if (ask == Ask::read_line)
      return "O" + link_->read_line(static_cast<std::size_t>(reader.number()), patience);
    if (ask == Ask::read_exactly)
      return "O" + link_->read_exactly(static_cast<std::size_t>(reader.number()), patience);
    if (ask == Ask::discard) link_->discard(Duration{reader.number()}, patience);
    if (ask == Ask::close) link_->close();
    return "O";
  } catch (const Error& e) {
    return std::string("E") + static_cast<char>('0' + static_cast<int>(e.fault())) + e.what();
  }
}

// Whatever exchange is under way ends now; its link is lost with it.
void Guardian::finish_exchange() {
  if (!busy_) return;
  stop_.request_stop();
  pollfd done{worker_.done(), POLLIN, 0};
  while (::poll(&done, 1, -1) <= 0) {
  }
  worker_.take_ring();
  busy_ = false;
}

// The main program lives but has not ended its pulse.
void Guardian::trip() {
  const bool answering = busy_;
  finish_exchange();
  guard_until_.reset();
  tripped_ = true;
  switch_off();
  if (!answering) return;
  tripped_ = false;
  send(std::string("E") + static_cast<char>('0' + static_cast<int>(Fault::bench)) + address_ +
       ": the pulse was not ended in time: the guardian has switched the output off");
}

bool Guardian::try_off() {
  try {
    link_->write(messages_.off, kOffPatience);
    link_->write(messages_.query, kOffPatience);
    for (int i = 0; i < kMostStale; ++i)
      if (const std::string line = link_->read_line(100, kOffPatience);
          line == "0" || line == "OFF")
        return true;
  } catch (const Error&) {  // the next try opens a fresh link
  }
  link_->close();
  return false;
}

bool Guardian::switch_off() {
  for (int i = 0; i < kOffTries; ++i) {
    if (try_off()) return true;
    std::this_thread::sleep_for(kOffPause);
  }
  std::fprintf(stderr,
               "pinproof guardian: %s: COULD NOT SWITCH THE SUPPLY OFF. SWITCH IT OFF BY HAND\n",
               address_.c_str());
  return false;
}

}  // namespace

int run_guardian(int socket) {
  ::setsid();  // a Ctrl-C in the terminal is for the main program
  for (const int number : {SIGINT, SIGHUP, SIGPIPE, SIGQUIT, SIGTERM}) ::signal(number, SIG_IGN);
  ::prctl(PR_SET_NAME, "pinproof-guard");
  try {
    Guardian guardian(socket);
    return guardian.serve();
  } catch (const Error& e) {
    std::fprintf(stderr, "pinproof guardian: %s\n", e.what());
    return 1;
  }
}

}  // namespace pinproof::link
