#include "scpi/session.h"

#include <bit>
#include <cmath>
#include <cstdint>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::scpi {
namespace {

constexpr std::size_t kLongestLine = 4096;
constexpr int kMostErrors = 50;  // a queue that never empties is a fault of its own

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

}  // namespace

Session::Session(std::string role, std::unique_ptr<link::Link> link, Dialect dialect)
    : name_(std::move(role) + " " + link->address()),
      link_(std::move(link)),
      dialect_(std::move(dialect)) {}

void Session::refuse(const std::string& message, const std::string& reply,
                     const std::string& wanted) {
  link_->close();  // whatever else is in the pipe belongs to a conversation that has gone wrong
  throw Error(Fault::bad_reply, name_ + ": " + message + ": answered \"" + shown(reply) + "\"; " +
                                    wanted + " is wanted");
}

void Session::command(const std::vector<std::string>& messages, const bench::Patience& patience) {
  const std::string line = join(messages);
  try {
    link_->write(line + ";*OPC?\n", patience);
    if (const std::string reply = link_->read_line(kLongestLine, patience);
        reply != "1" && reply != "+1")
      refuse(line + ";*OPC?", reply, "1 (operation complete)");
    expect_no_error(line, patience);
  } catch (const Error& e) {
    if (std::string_view(e.what()).starts_with(name_)) throw;
    throw e.during(name_ + ": " + line);
  }
}

void Session::command(std::string_view operation, const Arguments& arguments,
                      const bench::Patience& patience) {
  const std::vector<std::string> one{dialect_.render(operation, arguments)};
  command(one, patience);
}

void Session::start(std::string_view operation, const bench::Patience& patience) {
  const std::string message = dialect_.render(operation);
  try {
    link_->write(message + "\n", patience);
  } catch (const Error& e) {
    throw e.during(name_ + ": " + message);
  }
  expect_no_error(message, patience);
}

void Session::expect_no_error(const std::string& message, const bench::Patience& patience) {
  std::string first;
  for (int i = 0; i < kMostErrors; ++i) {
    const std::string reply = ask("next_error", {}, patience);
    const auto code = parse_number(std::string_view(reply).substr(0, reply.find(',')));
    if (!code) refuse("next error", reply, "a number, a comma and a text");
    if (*code == 0) {
      if (first.empty()) return;
      throw Error(Fault::bench, name_ + ": " + message + ": the instrument reports " + first);
    }
    if (first.empty()) first = shown(reply);
  }
  throw Error(Fault::bench, name_ + ": the error queue never empties; first of it: " + first);
}

std::string Session::ask(std::string_view operation, const Arguments& arguments,
                         const bench::Patience& patience) {
  const std::string message = dialect_.render(operation, arguments);
  try {
    link_->write(message + "\n", patience);
    return link_->read_line(kLongestLine, patience);
  } catch (const Error& e) {
    throw e.during(name_ + ": " + message);
  }
}

Number Session::ask_number(std::string_view operation, const Arguments& arguments,
                           const bench::Patience& patience) {
  const std::string reply = ask(operation, arguments, patience);
  const auto number = parse_number(reply);
  if (!number) refuse(dialect_.render(operation, arguments), reply, "one number");
  const double magnitude = std::abs(*number);
  if (magnitude >= 9.905e37 && magnitude <= 9.915e37)
    refuse(dialect_.render(operation, arguments), reply, "a number (9.91E37 means not a number)");
  if (magnitude >= 9.0e37) return {std::nan(""), true};
  return {*number, false};
}

std::vector<double> Session::ask_floats(std::string_view operation, const Arguments& arguments,
                                        std::size_t at_most, const bench::Patience& patience) {
  const std::string message = dialect_.render(operation, arguments);
  try {
    link_->write(message + "\n", patience);
    const std::string head = link_->read_exactly(2, patience);
    if (head[0] != '#' || head[1] < '1' || head[1] > '9')
      refuse(message, head, "a block (#<digits><length>...)");
    const std::string digits =
        link_->read_exactly(static_cast<std::size_t>(head[1] - '0'), patience);
    const auto length = parse_number(digits);
    if (!length || *length < 0 || std::fmod(*length, 4) != 0 ||
        *length > 4.0 * static_cast<double>(at_most))
      refuse(message, head + digits,
             "a block of at most " + std::to_string(at_most) + " 32-bit floats");
    const std::string bytes = link_->read_exactly(static_cast<std::size_t>(*length), patience);
    if (const std::string rest = link_->read_line(16, patience); !rest.empty())
      refuse(message, rest, "a line end after the block");
    std::vector<double> out(bytes.size() / 4);
    for (std::size_t i = 0; i < out.size(); ++i)
      out[i] = big_endian_float(reinterpret_cast<const unsigned char*>(bytes.data()) + 4 * i);
    return out;
  } catch (const Error& e) {
    if (std::string_view(e.what()).starts_with(name_)) throw;
    throw e.during(name_ + ": " + message);
  }
}

std::string Session::open(const bench::Patience& patience) {
  const std::vector<std::string> clear{dialect_.render("clear")};
  command(clear, patience);
  std::string identity = ask("identify", {}, patience);
  if (identity.empty()) refuse("*IDN?", identity, "an identity");
  return identity;
}

}  // namespace pinproof::scpi
