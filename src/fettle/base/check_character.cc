#include "fettle/base/check_character.h"

namespace fettle {

std::optional<char> mod11_2(std::string_view digits) {
    if (digits.empty()) return std::nullopt;
    int p = 0;
    for (const char c : digits) {
        if (c < '0' || c > '9') return std::nullopt;
        p = (p + (c - '0')) * 2 % 11;
    }
    const int check = (12 - p) % 11;
    return check == 10 ? 'X' : static_cast<char>('0' + check);
}

}  // namespace fettle
