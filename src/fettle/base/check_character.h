// ISO/IEC 7064 MOD 11-2 check characters, used on plates and on job numbers. Catches every single wrong digit and every
// exchange of two neighbours; the check character is 0-9 or X.
#pragma once

#include <optional>
#include <string_view>

namespace fettle {

// The check character for a string of decimal digits; nullopt if it is empty or holds anything else.
std::optional<char> mod11_2(std::string_view digits);

}  // namespace fettle
