#include "simulated/scpi_device.h"

#include <array>
#include <charconv>
#include <cmath>
#include <utility>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::simulated {
namespace {

constexpr std::size_t kQueue = 20;  // SCPI-99 vol. 1, 20.1.2: two at least

std::string_view trim(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t' || text.back() == '\r'))
    text.remove_suffix(1);
  return text;
}

// IEEE 488.2 11.5.1.1: command errors set bit 5, execution 4, device 3, query 2.
unsigned event_bit(int number) {
  if (number <= -100 && number > -200) return 1u << 5;
  if (number <= -200 && number > -300) return 1u << 4;
  if (number <= -400 && number > -500) return 1u << 2;
  return 1u << 3;
}

}  // namespace

std::string scientific(double value) {
  std::array<char, 40> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), std::abs(value),
                                 std::chars_format::scientific, 8)
                       .ptr;
  std::string out(buffer.data(), end);
  out.insert(out.begin(), std::signbit(value) ? '-' : '+');
  for (char& c : out)
    if (c == 'e') c = 'E';
  return out;
}

void ScpiDevice::error(int number, std::string_view text) {
  event_status_ |= event_bit(number);
  std::string entry = std::to_string(number) + ",\"" + std::string(text) + "\"";
  if (errors_.size() < kQueue)
    errors_.push_back(std::move(entry));
  else
    errors_.back() = "-350,\"Queue overflow\"";
}

// IEEE 488.2, 11.5.1.1.2: bit 7 of the event status says that the power came back.
void ScpiDevice::restart() {
  constexpr unsigned kPowerOn = 1u << 7;
  reset();
  errors_.clear();
  event_status_ = kPowerOn, event_enable_ = service_enable_ = 0;
  restarted_ = true;
}

std::optional<std::string> ScpiDevice::answer(std::string_view line) {
  if (!restarted_ && world_.restarted()) restart();
  std::string path;
  std::optional<std::string> out;
  std::size_t start = 0;
  char quote = 0;
  for (std::size_t i = 0; i <= line.size(); ++i) {
    if (i < line.size()) {
      if (quote != 0) {
        if (line[i] == quote) quote = 0;
        continue;
      }
      if (line[i] == '"' || line[i] == '\'') quote = line[i];
      if (line[i] != ';') continue;
    }
    const auto part = trim(line.substr(start, i - start));
    start = i + 1;
    if (part.empty()) continue;
    if (auto reply = unit(part, path)) out = out ? *out + ";" + *reply : *reply;
  }
  return out;
}

std::optional<std::string> ScpiDevice::unit(std::string_view text, std::string& path) {
  const auto space = text.find_first_of(" \t");
  std::string_view header = text.substr(0, space);
  const std::string_view parameters =
      space == std::string_view::npos ? std::string_view{} : trim(text.substr(space));
  bool known = false;
  if (header.starts_with('*')) {  // leaves the path as it is
    auto reply = common(header, parameters, known);
    if (!known) error(-113, "Undefined header");
    return reply;
  }
  // SCPI-99 vol. 1, 6.2.4: a leading colon starts at the root, else the path of
  // the unit before goes in front.
  std::string whole =
      header.starts_with(':') ? std::string(header.substr(1)) : path + std::string(header);
  const auto colon = whole.rfind(':');
  path = colon == std::string::npos ? "" : whole.substr(0, colon + 1);
  const auto outcome = dialect_.match(whole, parameters);
  if (const auto* refusal = std::get_if<scpi::Refusal>(&outcome)) {
    error(refusal->number, refusal->text);
    return std::nullopt;
  }
  return dispatch(std::get<scpi::Call>(outcome));
}

std::optional<std::string> ScpiDevice::dispatch(const scpi::Call& call) {
  if (call.operation == "next_error") {
    if (errors_.empty()) return "+0,\"No error\"";
    std::string first = errors_.front();
    errors_.pop_front();
    return first;
  }
  try {
    return perform(call);
  } catch (const Error&) {
    return error(-109, "Missing parameter"), std::nullopt;
  }
}

std::optional<std::string> ScpiDevice::common(std::string_view header, std::string_view parameters,
                                              bool& known) {
  std::string upper(header);
  for (char& c : upper) c = static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  known = true;
  if (upper == "*ESE") return set_register(parameters, event_enable_), std::nullopt;
  if (upper == "*SRE") return set_register(parameters, service_enable_), std::nullopt;
  if (!parameters.empty()) return error(-108, "Parameter not allowed"), std::nullopt;
  if (auto answer = common_query(upper)) return answer;
  known = common_command(upper);
  return std::nullopt;
}

void ScpiDevice::set_register(std::string_view parameters, unsigned& where) {
  const auto value = parse_number(parameters);
  if (parameters.empty()) return error(-109, "Missing parameter");
  if (!value) return error(-104, "Data type error");
  if (*value < 0 || *value > 255) return error(-222, "Data out of range");
  where = static_cast<unsigned>(*value);
}

// Instruments without *OPC? exist: they say nothing.
bool ScpiDevice::completes() const {
  return dialect_.wire().complete != scpi::WireHabits::Complete::none;
}

std::optional<std::string> ScpiDevice::common_query(std::string_view header) {
  if (header == "*IDN?") return identity_;
  if (header == "*TST?") return "0";
  if (header == "*OPC?" && completes()) return "1";
  if (header == "*ESE?") return std::to_string(event_enable_);
  if (header == "*SRE?") return std::to_string(service_enable_);
  if (header == "*ESR?") return std::to_string(std::exchange(event_status_, 0u));
  if (header == "*STB?") return std::to_string(status_byte());
  return std::nullopt;
}

// IEEE 488.2, 11.2: what waits in the error queue, the enabled events, and whether to call.
unsigned ScpiDevice::status_byte() const {
  constexpr unsigned kErrors = 4, kEvents = 32, kService = 64;  // bits 2, 5 and 6
  unsigned out = errors_.empty() ? 0u : kErrors;
  if ((event_status_ & event_enable_) != 0) out |= kEvents;
  if ((out & service_enable_ & ~kService) != 0) out |= kService;
  return out;
}

// False where there is no such command.
bool ScpiDevice::common_command(std::string_view header) {
  if (header == "*CLS") return errors_.clear(), event_status_ = 0, true;
  if (header == "*RST") return reset(), true;
  if (header == "*OPC" && completes()) return event_status_ |= 1u, true;
  return header == "*WAI";
}

}  // namespace pinproof::simulated
