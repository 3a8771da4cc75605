// USBTMC through the kernel's /dev/usbtmcN. A read there blocks and poll(2) says
// nothing about it, so a worker thread makes the calls and the caller waits for
// the worker. A call that outlives its deadline goes on in the worker until the
// driver's own time-out; until then the link says that it is busy.
#include "link/usbtmc.h"

#include <fcntl.h>
#include <linux/usb/tmc.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <condition_variable>
#include <cstring>
#include <functional>
#include <mutex>
#include <optional>
#include <thread>

#include "link/address.h"
#include "link/descriptor.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::link {
namespace {

constexpr std::string_view kWanted = "usbtmc:///dev/usbtmcN?clear=on|off (clear may be left out)";
constexpr std::size_t kRead = 4096;         // the driver's own buffer
constexpr unsigned kLeastTimeout_ms = 100;  // the driver takes no less

class KernelDevice final : public UsbtmcDevice {
 public:
  explicit KernelDevice(std::string path) : path_(std::move(path)) {}

  bool open() override {
    device_ = Descriptor(::open(path_.c_str(), O_RDWR | O_CLOEXEC));
    // open(2) is not exclusive here; two programs would mix up their replies.
    return device_.open() && ::flock(device_.get(), LOCK_EX | LOCK_NB) == 0;
  }
  void close() noexcept override { device_.reset(); }
  ssize_t write(const char* bytes, std::size_t count) override {
    return ::write(device_.get(), bytes, count);
  }
  ssize_t read(char* to, std::size_t most) override { return ::read(device_.get(), to, most); }
  bool end_of_message(std::size_t got, std::size_t asked) override {
    __u8 attributes = 0;
    if (::ioctl(device_.get(), USBTMC_IOCTL_MSG_IN_ATTR, &attributes) != 0) return got < asked;
    return (attributes & 1u) != 0;
  }
  bool set_timeout_ms(unsigned ms) override {
    __u32 value = ms;
    return ::ioctl(device_.get(), USBTMC_IOCTL_SET_TIMEOUT, &value) == 0;
  }
  bool clear() override { return ::ioctl(device_.get(), USBTMC_IOCTL_CLEAR) == 0; }

 private:
  std::string path_;
  Descriptor device_;
};

// What caller and worker share. The worker keeps it alive to the end of its call.
struct WorkerShared {
  std::mutex mutex;
  std::condition_variable_any changed;
  std::unique_ptr<UsbtmcDevice> device;
  bool clears = true;
  bool open = false;
  std::function<void(UsbtmcDevice&)> job;  // empty: nothing to do
  bool busy = false;
  bool abandoned = false;  // nobody waits for the job any more: clear and close after it
  bool over = false;
};

void work(const std::shared_ptr<WorkerShared>& shared) {
  std::unique_lock lock(shared->mutex);
  while (true) {
    shared->changed.wait(lock, [&] { return shared->over || shared->job; });
    if (!shared->job) break;
    const auto job = std::exchange(shared->job, nullptr);
    lock.unlock();
    job(*shared->device);
    lock.lock();
    if (shared->abandoned) {
      if (shared->open && shared->clears) shared->device->clear();
      shared->device->close();
      shared->open = shared->abandoned = false;
    }
    shared->busy = false;
    shared->changed.notify_all();
  }
  shared->device->close();
}

class UsbtmcLink final : public Link {
 public:
  UsbtmcLink(std::string address, std::unique_ptr<UsbtmcDevice> device, bool clears)
      : address_(std::move(address)), shared_(std::make_shared<WorkerShared>()) {
    shared_->device = std::move(device);
    shared_->clears = clears;
    // Detached: it may sit in a read of the kernel's longer than we want to stay.
    std::thread([shared = shared_] { work(shared); }).detach();
  }
  ~UsbtmcLink() override {
    const std::lock_guard lock(shared_->mutex);
    shared_->over = true;
    shared_->changed.notify_all();
  }

  const std::string& address() const override { return address_; }
  void write(std::string_view message, const bench::Patience& patience) override;
  std::string read_line(std::size_t at_most, const bench::Patience& patience) override;
  std::string read_exactly(std::size_t count, const bench::Patience& patience) override;
  void discard(Duration, const bench::Patience&) override { inbox_.clear(); }
  // A clear on the USB control pipe ends what was on its way; without it, it stays.
  bool late_replies_survive() const override { return !shared_->clears; }
  void close() noexcept override;

 private:
  struct Transfer {
    int error = 0;
    std::string bytes;
    bool end = false;
  };
  Transfer call(std::function<Transfer(UsbtmcDevice&)> action, const bench::Patience& patience);
  void open(const bench::Patience& patience);
  void read_more(const bench::Patience& patience);
  [[noreturn]] void lose(Fault fault, const std::string& what);
  [[noreturn]] void lose(int error, const std::string& doing, const bench::Patience& patience);

  std::string address_;
  std::shared_ptr<WorkerShared> shared_;
  std::string inbox_;
  bool message_ended_ = false;
};

void UsbtmcLink::lose(Fault fault, const std::string& what) {
  close();
  throw Error(fault, address_ + ": " + what);
}

void UsbtmcLink::lose(int error, const std::string& doing, const bench::Patience& patience) {
  if (error == ETIMEDOUT || error == EAGAIN)
    lose(Fault::timeout,
         doing + ": no answer within " + format_si(patience.limit().si(), Unit::second, 3));
  if (error == ENODEV || error == ENXIO || error == EPIPE)
    lose(Fault::bench, doing + ": the instrument is gone (unplugged?)");
  if (error == EWOULDBLOCK || error == EBUSY) lose(Fault::bench, "another program uses it");
  lose(Fault::bench, doing + ": " + std::strerror(error));
}

void UsbtmcLink::close() noexcept {
  const std::lock_guard lock(shared_->mutex);
  inbox_.clear();
  message_ended_ = false;
  if (!shared_->open && !shared_->busy) return;
  shared_->abandoned = true;
  if (shared_->busy) return;
  shared_->busy = true;
  shared_->job = [](UsbtmcDevice&) {};  // the worker clears and closes after it
  shared_->changed.notify_all();
}

UsbtmcLink::Transfer UsbtmcLink::call(std::function<Transfer(UsbtmcDevice&)> action,
                                      const bench::Patience& patience) {
  const auto limit = std::chrono::duration<double>(std::clamp(patience.limit().si(), 0.0, 1e6));
  const auto until = Clock::now() + std::chrono::duration_cast<Clock::duration>(limit);
  std::unique_lock lock(shared_->mutex);
  const auto idle = [&] { return !shared_->busy; };
  if (!shared_->changed.wait_until(lock, patience.stop(), until, idle)) {
    lock.unlock();
    if (patience.stopped()) lose(Fault::aborted, "stopped");
    throw Error(Fault::timeout, address_ + ": still busy with the last question");
  }
  const auto outcome = std::make_shared<Transfer>();
  shared_->busy = true;
  shared_->job = [outcome, action = std::move(action)](UsbtmcDevice& device) {
    *outcome = action(device);
  };
  shared_->changed.notify_all();
  if (shared_->changed.wait_until(lock, patience.stop(), until, idle)) return std::move(*outcome);
  lock.unlock();
  if (patience.stopped()) lose(Fault::aborted, "stopped");
  lose(ETIMEDOUT, "exchange", patience);
}

void UsbtmcLink::open(const bench::Patience& patience) {
  {
    const std::lock_guard lock(shared_->mutex);
    if (shared_->open && !shared_->abandoned) return;
  }
  const auto outcome = call(
      [shared = shared_.get()](UsbtmcDevice& device) {
        if (!device.open()) return Transfer{errno, {}, false};
        if (shared->clears) device.clear();
        const std::lock_guard lock(shared->mutex);
        shared->open = true;
        return Transfer{};
      },
      patience);
  if (outcome.error != 0) lose(outcome.error, "cannot open", patience);
}

unsigned driver_timeout_ms(const bench::Patience& patience) {
  return std::max(kLeastTimeout_ms,
                  static_cast<unsigned>(1000 * std::clamp(patience.limit().si(), 0.0, 3600.0)));
}

void UsbtmcLink::write(std::string_view message, const bench::Patience& patience) {
  if (patience.stopped()) lose(Fault::aborted, "stopped");
  open(patience);
  inbox_.clear();
  message_ended_ = false;
  // One write is one message: the driver sets the end mark on its last transfer.
  const auto outcome = call(
      [text = std::string(message), ms = driver_timeout_ms(patience)](UsbtmcDevice& device) {
        device.set_timeout_ms(ms);
        const ssize_t sent = device.write(text.data(), text.size());
        if (sent < 0) return Transfer{errno, {}, false};
        return Transfer{static_cast<std::size_t>(sent) == text.size() ? 0 : EIO, {}, false};
      },
      patience);
  if (outcome.error != 0) lose(outcome.error, "writing", patience);
}

void UsbtmcLink::read_more(const bench::Patience& patience) {
  const auto outcome = call(
      [ms = driver_timeout_ms(patience)](UsbtmcDevice& device) {
        std::array<char, kRead> chunk;
        device.set_timeout_ms(ms);
        const ssize_t got = device.read(chunk.data(), chunk.size());
        if (got < 0) return Transfer{errno, {}, false};
        const auto count = static_cast<std::size_t>(got);
        return Transfer{0, {chunk.data(), count}, device.end_of_message(count, chunk.size())};
      },
      patience);
  if (outcome.error != 0) lose(outcome.error, "reading", patience);
  inbox_ += outcome.bytes;
  message_ended_ = outcome.end;
}

// The end mark ends a line as well as a line end does: some send only the mark.
std::string UsbtmcLink::read_line(std::size_t at_most, const bench::Patience& patience) {
  while (true) {
    const auto end = inbox_.find('\n');
    if (end != std::string::npos || (message_ended_ && !inbox_.empty())) {
      std::string line = inbox_.substr(0, end);
      inbox_.erase(0, end == std::string::npos ? inbox_.size() : end + 1);
      while (line.ends_with('\r')) line.pop_back();
      while (line.starts_with('\r')) line.erase(0, 1);
      return line;
    }
    if (inbox_.size() > at_most)
      lose(Fault::bad_reply, "a reply of more than " + std::to_string(at_most) + " bytes");
    // A block that ended the message needs no line end after it.
    if (message_ended_) return {};
    read_more(patience);
  }
}

std::string UsbtmcLink::read_exactly(std::size_t count, const bench::Patience& patience) {
  while (inbox_.size() < count) {
    if (message_ended_)
      lose(Fault::bad_reply, "the message ended after " + std::to_string(inbox_.size()) + " of " +
                                 std::to_string(count) + " bytes");
    read_more(patience);
  }
  std::string out = inbox_.substr(0, count);
  inbox_.erase(0, count);
  return out;
}

std::unique_ptr<Link> open_usbtmc(const std::string& address) {
  constexpr std::string_view kScheme = "usbtmc://";
  if (!address.starts_with(kScheme)) refuse_address(address, "no path", kWanted);
  const auto parts = take_apart(address, kScheme, {"clear"}, kWanted);
  if (!parts.path.starts_with('/')) refuse_address(address, "the path is not absolute", kWanted);
  const auto clear = parts.options.find("clear");
  if (clear != parts.options.end() && clear->second != "on" && clear->second != "off")
    refuse_address(address, "clear is not on or off", kWanted);
  return make_usbtmc_link(address, std::make_unique<KernelDevice>(parts.path),
                          clear == parts.options.end() || clear->second == "on");
}

}  // namespace

std::unique_ptr<Link> make_usbtmc_link(std::string address, std::unique_ptr<UsbtmcDevice> device,
                                       bool clears) {
  return std::make_unique<UsbtmcLink>(std::move(address), std::move(device), clears);
}

const Scheme kUsbtmc{.prefix = "usbtmc:", .wanted = kWanted, .open = open_usbtmc};

}  // namespace pinproof::link
