// What goes over the wire of HTTP besides the bytes' own ways: heads and refusals. Pure.
#pragma once

#include <string>
#include <string_view>

#include "screen/http.h"

namespace pinproof::screen {

/// ASCII only, as header names are.
std::string lower(std::string_view text);
/// "Not Found"; empty for a status that this server does not use.
std::string_view reason(unsigned status);
/// {"error": why}, with the headers that every answer carries.
Reply refusal(unsigned status, std::string_view why);
/// Status line and headers, up to the empty line. Nothing in the reply can break a line of it.
std::string head_of(const Reply& reply, bool keep);

}  // namespace pinproof::screen
