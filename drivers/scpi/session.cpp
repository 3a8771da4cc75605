#include "scpi/session.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <thread>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::scpi {
namespace {

constexpr std::size_t kLongestLine = 4096;
constexpr int kMostErrors = 50;  // a queue that never empties is a fault of its own
constexpr int kMostStale = 20;   // lines of an old conversation before the identity comes
constexpr auto kBusyPause = std::chrono::milliseconds(10);
const Duration kQuiet{0.1};  // silence after which a serial line is taken to be idle

std::string shown(std::string_view reply) {
  std::string out;
  for (const char c : reply.substr(0, 60)) out += (c >= ' ' && c < 127) ? c : '?';
  return reply.size() > 60 ? out + "..." : out;
}

std::string join(const std::vector<std::string>& messages) {
  std::string out;
  for (const std::string& m : messages)
    out += (out.empty() ? "" : m.starts_with('*') ? ";" : ";:") + m;
  return out;
}

float big_endian_float(const unsigned char* b) {
  const std::uint32_t bits = (std::uint32_t{b[0]} << 24) | (std::uint32_t{b[1]} << 16) |
                             (std::uint32_t{b[2]} << 8) | std::uint32_t{b[3]};
  return std::bit_cast<float>(bits);
}

// IEEE 488.2, 10.14: four fields with commas between. Some send three.
bool looks_like_identity(std::string_view line) {
  return std::count(line.begin(), line.end(), ',') >= 2;
}

}  // namespace

Session::Session(std::string role, std::unique_ptr<link::Link> link, Dialect dialect)
    : name_(std::move(role) + " " + link->address()),
      link_(std::move(link)),
      dialect_(std::move(dialect)) {}

void Session::close() noexcept {
  link_->close();
  in_order_ = false;
}

void Session::refuse(const std::string& message, const std::string& reply,
                     const std::string& wanted) {
  close();  // whatever else is in the pipe belongs to a conversation that has gone wrong
  throw Error(Fault::bad_reply, name_ + ": " + message + ": answered \"" + shown(reply) + "\"; " +
                                    wanted + " is wanted");
}

// Runs `action` and puts instrument and message before what goes wrong. From
// then on the conversation is out of order.
template <class Action>
auto Session::exchange(const std::string& message, const Action& action) {
  try {
    return action();
  } catch (const Error& e) {
    in_order_ = false;
    if (std::string_view(e.what()).starts_with(name_)) throw;
    throw e.during(name_ + ": " + message);
  }
}

void Session::send(const std::string& message, const bench::Patience& patience) {
  if (const double gap_s = dialect_.wire().gap_s; gap_s > 0) {
    const auto ready = last_sent_ + std::chrono::duration<double>(gap_s);
    std::this_thread::sleep_until(ready);
  }
  link_->write(message + dialect_.wire().line_end, patience);
  if (dialect_.wire().gap_s > 0) last_sent_ = std::chrono::steady_clock::now();
}

void Session::put_in_order(const bench::Patience& patience) {
  if (in_order_) return;
  if (link_->late_replies_survive()) link_->discard(kQuiet, patience);
  send(dialect_.render("identify"), patience);
  for (int i = 0; i < kMostStale; ++i) {
    const std::string line = link_->read_line(kLongestLine, patience);
    const bool expected = identity_.empty() ? looks_like_identity(line) : line == identity_;
    if (!expected) continue;
    identity_ = line;
    in_order_ = true;
    return;
  }
  refuse(dialect_.render("identify"), "other lines", "the identity \"" + identity_ + "\"");
}

void Session::command(const std::vector<std::string>& messages, const bench::Patience& patience) {
  const std::string line = join(messages);
  exchange(line, [&] {
    put_in_order(patience);
    const WireHabits& wire = dialect_.wire();
    const bool joined = wire.compound && wire.complete == WireHabits::Complete::query;
    if (wire.compound) {
      send(joined ? line + ";*OPC?" : line, patience);
    } else {
      for (const std::string& one : messages) send(one, patience);
    }
    if (!joined && wire.complete == WireHabits::Complete::query) send("*OPC?", patience);
    if (wire.complete == WireHabits::Complete::status) send("*OPC", patience);
    await_complete(patience);
    expect_no_error(line, patience);
  });
}

// Some instruments answer *OPC? with 0 while they are busy; they are asked again.
void Session::await_complete(const bench::Patience& patience) {
  const WireHabits& wire = dialect_.wire();
  if (wire.complete == WireHabits::Complete::none) return;
  const auto until = std::chrono::steady_clock::now() +
                     std::chrono::duration<double>(std::min(patience.limit().si(), 3600.0));
  const std::string query = wire.complete == WireHabits::Complete::query ? "*OPC?" : "*ESR?";
  bool asked = wire.complete == WireHabits::Complete::query;
  while (true) {
    if (!asked) send(query, patience);
    const std::string reply = link_->read_line(kLongestLine, patience);
    const auto number = parse_number(reply);
    const double most = wire.complete == WireHabits::Complete::query ? 1 : 255;
    if (!number || *number < 0 || *number > most || *number != std::floor(*number))
      refuse(query, reply, "1 (operation complete)");
    if ((static_cast<unsigned>(*number) & 1u) != 0) return;
    if (std::chrono::steady_clock::now() >= until) {
      close();
      throw Error(Fault::timeout, name_ + ": still busy after " +
                                      format_si(patience.limit().si(), Unit::second, 3));
    }
    if (patience.stopped()) throw Error(Fault::aborted, name_ + ": stopped");
    std::this_thread::sleep_for(kBusyPause);
    asked = false;
  }
}

void Session::command(std::string_view operation, const Arguments& arguments,
                      const bench::Patience& patience) {
  const std::vector<std::string> one{dialect_.render(operation, arguments)};
  command(one, patience);
}

void Session::start(std::string_view operation, const bench::Patience& patience) {
  const std::string message = dialect_.render(operation);
  exchange(message, [&] {
    put_in_order(patience);
    send(message, patience);
    expect_no_error(message, patience);
  });
}

void Session::send_now(const std::vector<std::string>& messages, const bench::Patience& patience) {
  const std::string& end = dialect_.wire().line_end;
  // The first line end closes half a line that may be on its way from before.
  std::string lines = end;
  if (dialect_.wire().compound) {
    lines += join(messages) + end;
  } else {
    for (const std::string& one : messages) lines += one + end;
  }
  exchange(join(messages), [&] { link_->write(lines, patience); });
  in_order_ = false;
}

void Session::expect_no_error(const std::string& message, const bench::Patience& patience) {
  if (!dialect_.has("next_error")) return;
  std::string first;
  for (int i = 0; i < kMostErrors; ++i) {
    const std::string query = dialect_.render("next_error");
    send(query, patience);
    const std::string reply = link_->read_line(kLongestLine, patience);
    const auto code = parse_number(std::string_view(reply).substr(0, reply.find(',')));
    if (!code) refuse(query, reply, "a number, a comma and a text");
    if (*code == 0) {
      if (first.empty()) return;
      throw Error(Fault::bench, name_ + ": " + message + ": the instrument reports " + first);
    }
    if (first.empty()) first = shown(reply);
  }
  close();
  throw Error(Fault::bench, name_ + ": the error queue never empties; first of it: " + first);
}

std::string Session::ask(std::string_view operation, const Arguments& arguments,
                         const bench::Patience& patience) {
  const std::string message = dialect_.render(operation, arguments);
  return exchange(message, [&] {
    put_in_order(patience);
    send(message, patience);
    return link_->read_line(kLongestLine, patience);
  });
}

Number Session::ask_number(std::string_view operation, const Arguments& arguments,
                           const bench::Patience& patience) {
  const std::string reply = ask(operation, arguments, patience);
  const auto number = parse_number(reply);
  if (!number) refuse(dialect_.render(operation, arguments), reply, "one number");
  const double magnitude = std::abs(*number);
  if (magnitude >= 9.905e37 && magnitude <= 9.915e37)
    refuse(dialect_.render(operation, arguments), reply, "a number (9.91E37 means not a number)");
  // A shade below what the data sheet says, since it is sent with few digits.
  if (magnitude >= dialect_.numbers().overload_at * (1 - 1e-6)) return {std::nan(""), true};
  return {*number, false};
}

std::string Session::ask_block(std::string_view operation, const Arguments& arguments,
                               std::size_t at_most, const bench::Patience& patience) {
  const std::string message = dialect_.render(operation, arguments);
  return exchange(message, [&] {
    put_in_order(patience);
    send(message, patience);
    const std::string head = link_->read_exactly(2, patience);
    // #0 means a block that ends with the message, which a stream cannot show.
    if (head[0] != '#' || head[1] < '1' || head[1] > '9')
      refuse(message, head, "a block (#<digits><length>...)");
    const std::string digits =
        link_->read_exactly(static_cast<std::size_t>(head[1] - '0'), patience);
    const bool plain =
        std::all_of(digits.begin(), digits.end(), [](char c) { return c >= '0' && c <= '9'; });
    const auto length = parse_number(digits);
    if (!plain || !length || *length > static_cast<double>(at_most))
      refuse(message, head + digits, "a block of at most " + std::to_string(at_most) + " bytes");
    std::string bytes = link_->read_exactly(static_cast<std::size_t>(*length), patience);
    if (const std::string rest = link_->read_line(16, patience); !rest.empty())
      refuse(message, rest, "a line end after the block");
    return bytes;
  });
}

std::vector<double> Session::ask_floats(std::string_view operation, const Arguments& arguments,
                                        std::size_t at_most, const bench::Patience& patience) {
  const std::string bytes = ask_block(operation, arguments, 4 * at_most, patience);
  if (bytes.size() % 4 != 0)
    refuse(dialect_.render(operation, arguments), std::to_string(bytes.size()) + " bytes",
           "32-bit floats");
  std::vector<double> out(bytes.size() / 4);
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = big_endian_float(reinterpret_cast<const unsigned char*>(bytes.data()) + 4 * i);
  return out;
}

void Session::read_identity(const bench::Patience& patience) {
  const std::string message = dialect_.render("identify");
  exchange(message, [&] {
    // A client that died may have left half a line, and its answers on their way.
    send("", patience);
    in_order_ = false;
    put_in_order(patience);
  });
}

std::string Session::open(const bench::Patience& patience) {
  read_identity(patience);
  if (!dialect_.fits(identity_))
    throw Error(Fault::usage, name_ + ": says it is \"" + shown(identity_) +
                                  "\", which the dialect " + dialect_.name() +
                                  " is not for; \"pinproof bench --find\" proposes one");
  if (dialect_.has("remote") && link_->address().starts_with("serial:"))
    exchange("remote", [&] { send(dialect_.render("remote"), patience); });
  command("clear", {}, patience);
  return identity_;
}

}  // namespace pinproof::scpi
