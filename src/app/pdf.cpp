#include "app/pdf.h"

#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <optional>
#include <string_view>
#include <vector>

#include "app/stop.h"
#include "quantity/error.h"
#include "quantity/file.h"

namespace pinproof::app {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

constexpr std::chrono::seconds kLongest{60};
constexpr double kLook_s = 0.02;
constexpr std::size_t kLargestPdf = std::size_t{256} << 20;

// Only its owner can look into it, and it goes in every way out.
class PrivateFolder {
 public:
  PrivateFolder() {
    std::error_code none;
    fs::path base = fs::temp_directory_path(none);
    if (none) base = "/tmp";
    std::string name = (base / "pinproof-print-XXXXXX").string();
    if (!::mkdtemp(name.data()))  // 0700
      throw Error(Fault::usage, name + ": no temporary folder: " + std::strerror(errno));
    path_ = name;
  }
  ~PrivateFolder() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  PrivateFolder(const PrivateFolder&) = delete;
  PrivateFolder& operator=(const PrivateFolder&) = delete;
  std::string operator/(const char* name) const { return (path_ / name).string(); }

 private:
  fs::path path_;
};

bool runs(const fs::path& path) {
  std::error_code ignored;
  return fs::is_regular_file(path, ignored) && ::access(path.c_str(), X_OK) == 0;
}

std::optional<std::string> on_path(const std::string& name) {
  if (name.find('/') != std::string::npos) return runs(name) ? std::optional(name) : std::nullopt;
  const char* set = std::getenv("PATH");
  std::string_view folders = set ? set : "/usr/local/bin:/usr/bin:/bin";
  while (!folders.empty()) {
    const auto end = folders.find(':');
    const fs::path path = fs::path(folders.substr(0, end)) / name;
    if (path.is_absolute() && runs(path)) return path.string();
    if (end == std::string_view::npos) break;
    folders.remove_prefix(end + 1);
  }
  return std::nullopt;
}

std::string browser() {
  if (const char* named = std::getenv("PINPROOF_BROWSER"); named && *named) {
    if (const auto found = on_path(named)) return *found;
    throw Error(Fault::usage,
                "PINPROOF_BROWSER \"" + std::string(named) + "\": no such program can be run");
  }
  constexpr std::array kKnown{"chromium", "chromium-browser", "google-chrome",
                              "google-chrome-stable"};
  for (const char* name : kKnown)
    if (const auto found = on_path(name)) return *found;
  throw Error(Fault::usage,
              "no browser that prints is installed (chromium, chromium-browser or google-chrome; "
              "PINPROOF_BROWSER names another). The HTML prints the same from any browser");
}

// Nothing of the page leads outside; names are not looked up, and nothing of the browser's own
// calls home.
std::vector<std::string> words(const std::string& program, const PrivateFolder& folder) {
  std::vector<std::string> out{program,
                               "--headless",
                               "--disable-gpu",
                               "--disable-quic",
                               "--no-first-run",
                               "--no-default-browser-check",
                               "--disable-background-networking",
                               "--disable-component-update",
                               "--disable-default-apps",
                               "--disable-domain-reliability",
                               "--disable-extensions",
                               "--disable-sync",
                               "--disable-dev-shm-usage",
                               "--host-resolver-rules=MAP * ~NOTFOUND",
                               "--user-data-dir=" + (folder / "browser"),
                               "--no-pdf-header-footer",
                               "--print-to-pdf=" + (folder / "page.pdf"),
                               "file://" + (folder / "page.html")};
  if (::geteuid() == 0) out.insert(out.begin() + 2, "--no-sandbox");  // it refuses root otherwise
  return out;
}

// What it would keep in the user's own folders goes into ours.
std::vector<std::string> environment(const PrivateFolder& folder) {
  std::vector<std::string> out;
  for (char** one = ::environ; *one; ++one) {
    const std::string_view text(*one);
    if (!text.starts_with("XDG_CACHE_HOME=") && !text.starts_with("XDG_CONFIG_HOME="))
      out.emplace_back(text);
  }
  out.push_back("XDG_CACHE_HOME=" + (folder / "cache"));
  out.push_back("XDG_CONFIG_HOME=" + (folder / "config"));
  return out;
}

std::vector<char*> pointers(std::vector<std::string>& texts) {
  std::vector<char*> out;
  for (std::string& text : texts) out.push_back(text.data());
  out.push_back(nullptr);
  return out;
}

// The browser with all of its helpers: a process group that ends with this object.
class Printer {
 public:
  Printer(std::vector<std::string> argv, std::vector<std::string> envp, const std::string& log) {
    posix_spawn_file_actions_t actions;
    ::posix_spawn_file_actions_init(&actions);
    ::posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
    ::posix_spawn_file_actions_addopen(&actions, 1, log.c_str(), O_WRONLY | O_CREAT | O_APPEND,
                                       0600);
    ::posix_spawn_file_actions_adddup2(&actions, 1, 2);
    ::posix_spawn_file_actions_addclosefrom_np(&actions, 3);
    posix_spawnattr_t attributes;
    ::posix_spawnattr_init(&attributes);
    sigset_t none, usual;
    ::sigemptyset(&none);  // our own signal mask is not the browser's business
    ::sigemptyset(&usual);
    ::sigaddset(&usual, SIGPIPE);
    ::sigaddset(&usual, SIGXFSZ);
    ::posix_spawnattr_setsigmask(&attributes, &none);
    ::posix_spawnattr_setsigdefault(&attributes, &usual);
    ::posix_spawnattr_setpgroup(&attributes, 0);
    ::posix_spawnattr_setflags(
        &attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF | POSIX_SPAWN_SETPGROUP);
    const int error = ::posix_spawn(&pid_, argv[0].c_str(), &actions, &attributes,
                                    pointers(argv).data(), pointers(envp).data());
    ::posix_spawn_file_actions_destroy(&actions);
    ::posix_spawnattr_destroy(&attributes);
    if (error != 0) throw Error(Fault::usage, argv[0] + ": cannot be run: " + std::strerror(error));
  }
  ~Printer() {
    ::kill(-pid_, SIGKILL);
    if (!ended_) ::waitpid(pid_, nullptr, 0);
  }
  Printer(const Printer&) = delete;
  Printer& operator=(const Printer&) = delete;

  /// Its exit code, 128 and the signal's number where one ended it. Throws Error.
  int wait() {
    const auto until = Clock::now() + kLongest;
    int status = 0;
    while (::waitpid(pid_, &status, WNOHANG) == 0) {
      if (Clock::now() > until)
        throw Error(Fault::timeout,
                    "the browser did not print within " + std::to_string(kLongest.count()) + " s");
      sleep_or_stop(kLook_s);
    }
    ended_ = true;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  }

 private:
  pid_t pid_ = -1;
  bool ended_ = false;
};

std::string last_line(const std::string& path) {
  std::ifstream in(path);
  std::string line, out;
  while (std::getline(in, line))
    if (!line.empty()) out = line;
  return out.substr(0, 300);
}

}  // namespace

void write_pdf(const std::string& html, const std::string& path) {
  const std::string program = browser();
  const PrivateFolder folder;
  write_file(folder / "page.html", html);
  const int code = Printer(words(program, folder), environment(folder), folder / "log").wait();
  const std::string pdf = folder / "page.pdf";
  std::error_code ignored;
  std::string bytes;
  if (code == 0 && fs::exists(pdf, ignored)) bytes = read_file(pdf, kLargestPdf);
  if (!bytes.starts_with("%PDF-")) {
    const std::string said = last_line(folder / "log");
    throw Error(Fault::usage, program + ": printed no PDF (exit code " + std::to_string(code) +
                                  (said.empty() ? ")" : "): " + said) +
                                  ". The HTML prints the same from any browser");
  }
  write_file(path, bytes);
}

bool is_pdf(const std::string& path) {
  if (path.size() < 4) return false;
  std::string end = path.substr(path.size() - 4);
  for (char& c : end)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return end == ".pdf";
}

}  // namespace pinproof::app
