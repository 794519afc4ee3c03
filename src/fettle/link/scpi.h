// What a bench supply is asked, and how its answers read: IEEE 488.2 numbers and lines, SCPI-99 headers. Nothing here
// touches a socket. Only questions exist: there is no way to write a setting, and none to switch an output.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fettle/base/result.h"
#include "fettle/link/address.h"

namespace fettle::link::scpi {

inline constexpr std::uint16_t port = 5025;            // scpi-raw
inline constexpr std::size_t longest_line = 1024;      // an answer longer than this is nonsense
inline constexpr int longest_error_queue = 20;         // questions for errors before we stop asking
inline constexpr double most_V = 1000, most_A = 1000;  // a figure beyond is no reading

// Where a supply is and what it is asked. SCPI supplies know the questions below; others have only words of their own
// ("VOUT1?"), which the address then carries, and of those nothing but volts and amps is read.
struct Address {
    Endpoint at{"127.0.0.1", port};
    std::string volts = "MEAS:VOLT?", amps = "MEAS:CURR?";
    bool own_words = false;
    bool operator==(const Address&) const = default;
};

// "scpi://HOST[:PORT]", or "words://HOST:PORT/VOUT1?,IOUT1?" for a supply with words of its own. usage
// "bad-supply-address" says what is wrong; the host is an address in numbers or localhost. A question must be one: up
// to 64 printable characters that end with '?', without ';' (which would join a command to it).
Result<Address> parse_address(std::string_view text);

// A number as supplies send it (NR1, NR2, NR3: "13", "13.500", "+1.350000E+01", blanks around it). nullopt for 9.9E37
// (infinity), 9.91E37 (not a number), "NAN", text, an empty line, or a number with a unit behind it.
std::optional<double> number(std::string_view line);

// The answer to OUTPut?: "1", "ON", "0", "OFF" in any case. nullopt: neither.
std::optional<bool> on_or_off(std::string_view line);

// One entry of the error queue: `-113,"Undefined header"`; `0,"No error"` and `+0,…` are code 0. nullopt: not of the
// form.
struct QueuedError {
    int code = 0;
    std::string text;
};
std::optional<QueuedError> queued_error(std::string_view line);

}  // namespace fettle::link::scpi
