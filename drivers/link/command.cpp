// A program of the user's own as a link: its standard input and output. Run
// without a shell, so nothing in the bench file is interpreted.
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <cstring>
#include <thread>

#include "link/address.h"
#include "link/stream.h"

namespace pinproof::link {
namespace {

constexpr std::string_view kWanted = "command:PROGRAM ARGUMENT ... (no quotes, no shell)";
constexpr int kReapTries = 50;
constexpr auto kReapPause = std::chrono::milliseconds(10);

class CommandLink final : public StreamLink {
 public:
  CommandLink(std::string address, std::vector<std::string> words)
      : StreamLink(std::move(address)), words_(std::move(words)) {}
  ~CommandLink() override { end(); }

 private:
  Descriptor connect(Deadline&) override;
  bool speaks_first() const override { return true; }
  void closing() noexcept override { end(); }
  std::string why_ended() override;
  void end() noexcept;

  std::vector<std::string> words_;
  pid_t pid_ = -1;
};

Descriptor CommandLink::connect(Deadline&) {
  end();
  int ends[2];
  // A socket pair for input and output both: a dead program then gives an error, not a signal.
  if (::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
    lose(Fault::bench, std::string("no pipe: ") + std::strerror(errno));
  Descriptor ours(ends[0]);
  const Descriptor theirs(ends[1]);
  posix_spawn_file_actions_t actions;
  ::posix_spawn_file_actions_init(&actions);
  ::posix_spawn_file_actions_adddup2(&actions, theirs.get(), 0);
  ::posix_spawn_file_actions_adddup2(&actions, theirs.get(), 1);
  ::posix_spawn_file_actions_addclosefrom_np(&actions, 3);
  posix_spawnattr_t attributes;
  ::posix_spawnattr_init(&attributes);
  sigset_t none;
  ::sigemptyset(&none);  // our own signal mask is not the program's business
  ::posix_spawnattr_setsigmask(&attributes, &none);
  ::posix_spawnattr_setpgroup(&attributes, 0);  // Ctrl-C is ours to pass on
  ::posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETPGROUP);
  std::vector<char*> argv;
  for (std::string& word : words_) argv.push_back(word.data());
  argv.push_back(nullptr);
  const int error = ::posix_spawnp(&pid_, argv[0], &actions, &attributes, argv.data(), ::environ);
  ::posix_spawn_file_actions_destroy(&actions);
  ::posix_spawnattr_destroy(&attributes);
  if (error != 0) {
    pid_ = -1;
    lose(Fault::bench, "cannot run " + words_.front() + ": " +
                           (error == ENOENT ? "it is not installed" : std::strerror(error)));
  }
  return ours;
}

std::string CommandLink::why_ended() {
  int status = 0;
  // It has closed its output; its end is a moment away.
  for (int i = 0; i < kReapTries; ++i) {
    if (::waitpid(pid_, &status, WNOHANG) == pid_) {
      pid_ = -1;
      if (WIFEXITED(status))
        return words_.front() + " ended with exit code " + std::to_string(WEXITSTATUS(status));
      return words_.front() + " was ended by signal " + std::to_string(WTERMSIG(status));
    }
    std::this_thread::sleep_for(kReapPause);
  }
  return words_.front() + " closed its output";
}

void CommandLink::end() noexcept {
  if (pid_ <= 0) return;
  ::kill(-pid_, SIGTERM);
  for (int i = 0; i < kReapTries; ++i) {
    if (::waitpid(pid_, nullptr, WNOHANG) != 0) {
      pid_ = -1;
      return;
    }
    std::this_thread::sleep_for(kReapPause);
  }
  ::kill(-pid_, SIGKILL);
  ::waitpid(pid_, nullptr, 0);
  pid_ = -1;
}

std::unique_ptr<Link> open_command(const std::string& address) {
  std::vector<std::string> words;
  std::string word;
  for (const char c : address.substr(std::string_view("command:").size()) + " ") {
    if (c != ' ') {
      word += c;
    } else if (!word.empty()) {
      words.push_back(std::exchange(word, {}));
    }
  }
  if (words.empty()) refuse_address(address, "no program", kWanted);
  return std::make_unique<CommandLink>(address, std::move(words));
}

}  // namespace

const Scheme kCommand{.prefix = "command:", .wanted = kWanted, .open = open_command};

}  // namespace pinproof::link
