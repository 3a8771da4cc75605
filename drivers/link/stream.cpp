#include "link/stream.h"

#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "quantity/text.h"

namespace pinproof::link {
namespace {

using Wake = Deadline::Wake;

constexpr std::size_t kChunk = 65536;
constexpr double kPause_s = 0.01;  // before an end of file is looked at again

// A peer that has gone must give an error, not a signal; send(2) is for sockets only.
ssize_t put(int fd, std::string_view bytes) {
  const ssize_t sent = ::send(fd, bytes.data(), bytes.size(), MSG_NOSIGNAL);
  return sent < 0 && errno == ENOTSOCK ? ::write(fd, bytes.data(), bytes.size()) : sent;
}

}  // namespace

void StreamLink::close() noexcept {
  closing();
  descriptor_.reset();
  inbox_.clear();
}

void StreamLink::lose(Fault fault, const std::string& what) {
  close();
  throw Error(fault, address_ + ": " + what);
}

void StreamLink::await(int fd, Deadline& deadline, short events, std::string_view what) {
  switch (deadline.wait(fd, events)) {
    case Wake::ready:
      return;
    case Wake::timeout:
      lose(Fault::timeout,
           std::string(what) + " within " + format_si(deadline.limit_s(), Unit::second, 3));
    case Wake::stopped:
      lose(Fault::aborted, "stopped");
  }
}

void StreamLink::ready(Deadline& deadline) {
  if (!descriptor_.open()) descriptor_ = connect(deadline);
}

void StreamLink::ready_to_read(Deadline& deadline) {
  if (!descriptor_.open() && !speaks_first()) lose(Fault::bench, "nothing was asked on this link");
  ready(deadline);
}

void StreamLink::write(std::string_view message, const bench::Patience& patience) {
  if (patience.stopped()) lose(Fault::aborted, "stopped");
  Deadline deadline(patience, ear_);
  ready(deadline);
  while (!message.empty()) {
    const ssize_t sent = put(fd(), message);
    if (sent > 0) {
      message.remove_prefix(static_cast<std::size_t>(sent));
    } else if (errno == EAGAIN || errno == EWOULDBLOCK) {
      await(fd(), deadline, POLLOUT, "the instrument takes no more bytes");
    } else if (errno != EINTR) {
      lose(Fault::bench, std::string("link lost while writing: ") + std::strerror(errno));
    }
  }
}

// Waits first: a reply is hardly ever there already, and a read in vain costs
// as much as the wait.
std::size_t StreamLink::receive(Deadline& deadline, char* to, std::size_t most) {
  while (true) {
    await(fd(), deadline, POLLIN, "no reply");
    const ssize_t got = ::read(fd(), to, most);
    if (got > 0) return static_cast<std::size_t>(got);
    if (got == 0) {
      if (ended()) lose(Fault::bench, why_ended());
      if (deadline.wait(-1, 0, kPause_s) == Wake::stopped) lose(Fault::aborted, "stopped");
      if (deadline.over()) lose(Fault::timeout, "no reply, only an end of file that passes");
    } else if (errno != EINTR && errno != EAGAIN && errno != EWOULDBLOCK) {
      lose(Fault::bench, std::string("link lost while reading: ") + std::strerror(errno));
    }
  }
}

std::string StreamLink::take(std::size_t count) {
  if (count == inbox_.size()) return std::exchange(inbox_, {});
  std::string out = inbox_.substr(0, count);
  inbox_.erase(0, count);
  return out;
}

std::string StreamLink::read_line(std::size_t at_most, const bench::Patience& patience) {
  Deadline deadline(patience, ear_);
  ready_to_read(deadline);
  std::array<char, kChunk> chunk;  // not zeroed: read into at once
  std::size_t searched = 0;
  while (true) {
    // Some instruments end with LF CR: the CR then leads the next reply.
    while (!inbox_.empty() && inbox_.front() == '\r') inbox_.erase(0, 1);
    const auto end = inbox_.find('\n', searched);
    if (end != std::string::npos) {
      if (end > at_most + 1)
        lose(Fault::bad_reply, "a reply of more than " + std::to_string(at_most) + " bytes");
      std::string line = take(end + 1);
      line.pop_back();
      if (line.ends_with('\r')) line.pop_back();
      return line;
    }
    if (inbox_.size() > at_most)
      lose(Fault::bad_reply,
           "a reply of more than " + std::to_string(at_most) + " bytes without a line end");
    searched = inbox_.size();
    inbox_.append(chunk.data(), receive(deadline, chunk.data(), chunk.size()));
  }
}

std::string StreamLink::read_exactly(std::size_t count, const bench::Patience& patience) {
  Deadline deadline(patience, ear_);
  ready_to_read(deadline);
  if (inbox_.size() >= count) return take(count);
  std::string out = take(inbox_.size());
  std::size_t have = out.size();
  out.resize(count);
  while (have < count) have += receive(deadline, out.data() + have, count - have);
  return out;
}

void StreamLink::discard(Duration quiet, const bench::Patience& patience) {
  Deadline deadline(patience, ear_);
  ready(deadline);
  inbox_.clear();
  std::array<char, kChunk> chunk;
  while (!deadline.over()) {
    const Wake wake = deadline.wait(fd(), POLLIN, quiet.si());
    if (wake == Wake::stopped) lose(Fault::aborted, "stopped");
    if (wake == Wake::timeout) return;
    const ssize_t got = ::read(fd(), chunk.data(), chunk.size());
    if (got == 0 && ended()) lose(Fault::bench, why_ended());
    if (got < 0 && errno != EINTR && errno != EAGAIN)
      lose(Fault::bench, std::string("link lost while reading: ") + std::strerror(errno));
  }
}

}  // namespace pinproof::link
