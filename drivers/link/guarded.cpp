// The main program's side of the guardian.
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <mutex>
#include <thread>
#include <vector>

#include "link/descriptor.h"
#include "link/guardian.h"
#include "link/packet.h"

namespace pinproof::link {
namespace {

using Wake = Deadline::Wake;

// The guardian keeps the deadline; this is only for one that hangs itself.
constexpr double kSlack_s = 1;
// A process may take its time to start on a busy machine; no exchange pays for that.
constexpr Duration kStart{20};
constexpr int kReapTries = 200;
constexpr auto kReapPause = std::chrono::milliseconds(10);

// Guardians that took longer to end than anybody waits for: the next one that starts asks again, so
// that a program that runs for days gathers no dead processes.
class SlowEnds {
 public:
  static SlowEnds& instance() {
    static SlowEnds ends;
    return ends;
  }
  void add(pid_t pid) {
    const std::lock_guard lock(mutex_);
    pids_.push_back(pid);
  }
  void reap() {
    const std::lock_guard lock(mutex_);
    std::erase_if(pids_, [](pid_t pid) { return ::waitpid(pid, nullptr, WNOHANG) != 0; });
  }

 private:
  std::mutex mutex_;
  std::vector<pid_t> pids_;
};

class GuardedLink final : public Link {
 public:
  GuardedLink(std::string address, const OffMessages& messages,
              const std::vector<std::string>& command)
      : address_(std::move(address)) {
    start(command);
    PacketWriter hello(static_cast<char>(Ask::hello));
    put(hello.text(address_).text(messages.off).text(messages.query).bytes());
  }
  // The guardian sees the end of the socket, switches off and ends.
  ~GuardedLink() override {
    socket_.reset();
    for (int i = 0; i < kReapTries; ++i) {
      if (::waitpid(pid_, nullptr, WNOHANG) != 0) return;
      std::this_thread::sleep_for(kReapPause);
    }
    SlowEnds::instance().add(pid_);
  }

  const std::string& address() const override { return address_; }
  void write(std::string_view message, const bench::Patience& patience) override {
    if (direct_) return direct_->write(message, patience);
    ask(request(Ask::write, patience).text(message).bytes(), patience);
  }
  std::string read_line(std::size_t at_most, const bench::Patience& patience) override {
    if (direct_) return direct_->read_line(at_most, patience);
    return ask(request(Ask::read_line, patience).number(double(at_most)).bytes(), patience);
  }
  std::string read_exactly(std::size_t count, const bench::Patience& patience) override {
    if (direct_) return direct_->read_exactly(count, patience);
    return ask(request(Ask::read_exactly, patience).number(double(count)).bytes(), patience);
  }
  void discard(Duration quiet, const bench::Patience& patience) override {
    if (direct_) return direct_->discard(quiet, patience);
    ask(request(Ask::discard, patience).number(quiet.si()).bytes(), patience);
  }
  bool late_replies_survive() const override { return address_.starts_with("serial:"); }
  void close() noexcept override;
  void guard(Duration limit) override;
  void hold(Duration time, const bench::Patience& patience) override;

 private:
  static PacketWriter request(Ask ask, const bench::Patience& patience) {
    return PacketWriter(static_cast<char>(ask)).number(patience.limit().si());
  }
  void start(const std::vector<std::string>& command);
  void greet(const bench::Patience& patience);
  void put(const std::string& packet);
  std::string ask(const std::string& packet, const bench::Patience& patience);
  std::string take();
  [[noreturn]] void lose_guardian();

  std::string address_;
  Descriptor socket_;
  StopEar ear_;
  pid_t pid_ = -1;
  bool greeted_ = false;
  std::unique_ptr<Link> direct_;  // once the guardian is gone: to switch off, no more
};

void GuardedLink::start(const std::vector<std::string>& command) {
  SlowEnds::instance().reap();
  int ends[2];
  if (::socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, ends) != 0)
    throw Error(Fault::bench, std::string("guardian: no socket: ") + std::strerror(errno));
  socket_ = Descriptor(ends[0]);
  const Descriptor theirs(ends[1]);
  posix_spawn_file_actions_t actions;
  ::posix_spawn_file_actions_init(&actions);
  ::posix_spawn_file_actions_adddup2(&actions, theirs.get(), 0);
  // It must not keep a pipe open that somebody reads to its end.
  ::posix_spawn_file_actions_addopen(&actions, 1, "/dev/null", O_WRONLY, 0);
  // Nor a browser's connection that the screen has closed: a STOP sent there would reach nobody.
  ::posix_spawn_file_actions_addclosefrom_np(&actions, 3);
  posix_spawnattr_t attributes;
  ::posix_spawnattr_init(&attributes);
  sigset_t none;
  ::sigemptyset(&none);
  ::posix_spawnattr_setsigmask(&attributes, &none);
  ::posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK);
  std::vector<std::string> words = command;
  std::vector<char*> argv;
  for (std::string& word : words) argv.push_back(word.data());
  argv.push_back(nullptr);
  const int error = ::posix_spawn(&pid_, argv[0], &actions, &attributes, argv.data(), ::environ);
  ::posix_spawn_file_actions_destroy(&actions);
  ::posix_spawnattr_destroy(&attributes);
  if (error != 0)
    throw Error(Fault::bench, "guardian: cannot start " + words.front() + ": " +
                                  std::strerror(error) + "; without it nothing is energised");
}

void GuardedLink::lose_guardian() {
  socket_.reset();
  ear_.listen({});
  direct_ = open_link(address_);
  throw Error(Fault::bench, address_ +
                                ": the guardian process is gone; the output is switched "
                                "off over a link of its own");
}

void GuardedLink::put(const std::string& packet) {
  if (packet.size() > kLongestPacket)
    throw Error(Fault::bench, address_ + ": a message of " + std::to_string(packet.size()) +
                                  " bytes is too long for a supply");
  if (::send(socket_.get(), packet.data(), packet.size(), MSG_NOSIGNAL) < 0) lose_guardian();
}

std::string GuardedLink::take() {
  std::string packet(kLongestPacket, '\0');
  const ssize_t got = ::recv(socket_.get(), packet.data(), packet.size(), 0);
  if (got <= 0) lose_guardian();
  packet.resize(static_cast<std::size_t>(got));
  if (packet[0] == 'O') return packet.substr(1);
  const auto fault = static_cast<Fault>(packet.size() > 1 ? packet[1] - '0' : 0);
  throw Error(fault, packet.substr(std::min<std::size_t>(2, packet.size())));
}

// It answers the hello as soon as it can serve.
void GuardedLink::greet(const bench::Patience& patience) {
  if (greeted_) return;
  Deadline deadline(patience.with_limit(kStart), ear_);
  const Wake wake = deadline.wait(socket_.get(), POLLIN);
  if (wake == Wake::stopped) throw Error(Fault::aborted, address_ + ": stopped");
  if (wake == Wake::timeout) lose_guardian();
  take();
  greeted_ = true;
}

std::string GuardedLink::ask(const std::string& packet, const bench::Patience& patience) {
  greet(patience);
  put(packet);
  Deadline deadline(patience.with_limit(Duration{patience.limit().si() + kSlack_s}), ear_);
  const Wake wake = deadline.wait(socket_.get(), POLLIN);
  if (wake == Wake::timeout) lose_guardian();
  if (wake == Wake::stopped) put(std::string(1, static_cast<char>(Ask::stop)));
  return take();  // after a stop: what the ended exchange has to say
}

void GuardedLink::close() noexcept {
  try {
    if (direct_) return direct_->close();
    ask(request(Ask::close, bench::Patience(Duration{1})).bytes(), bench::Patience(Duration{1}));
  } catch (const Error&) {  // then there is a direct link, not open yet
  }
}

void GuardedLink::guard(Duration limit) {
  if (direct_ && limit.si() > 0)
    throw Error(Fault::bench, address_ + ": without its guardian nothing is energised");
  if (direct_) return;
  ask(PacketWriter(static_cast<char>(Ask::guard)).number(limit.si()).bytes(),
      bench::Patience(Duration{1}));
}

// While an output is on, the guardian's end must not go unnoticed.
void GuardedLink::hold(Duration time, const bench::Patience& patience) {
  if (direct_) return bench::pause(time, patience);
  greet(patience);
  Deadline deadline(patience.with_limit(time), ear_);
  const Wake wake = deadline.wait(socket_.get(), POLLIN);
  if (wake == Wake::stopped) throw Error(Fault::aborted, address_ + ": stopped");
  if (wake == Wake::ready) take();  // nothing was asked: this is its end, or its complaint
}

}  // namespace

std::unique_ptr<Link> open_guarded(const std::string& address, const OffMessages& messages,
                                   const std::vector<std::string>& command) {
  return std::make_unique<GuardedLink>(address, messages, command);
}

}  // namespace pinproof::link
