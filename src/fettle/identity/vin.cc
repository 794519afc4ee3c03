#include "fettle/identity/vin.h"

#include <fmt/core.h>

#include "fettle/base/text.h"

namespace fettle::identity {
namespace {

// 49 CFR 565.15(c): letters as numbers. I, O and Q are not in the set of ISO 3779; 0 stands for "not allowed" there
// only, since no letter has the value 0.
constexpr std::string_view letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";
constexpr std::string_view values = "12345678012345070923456789";
constexpr int weights[17] = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};

// 0-9; -1 when the character may not stand in a VIN.
int value_of(char c) {
    if (c >= '0' && c <= '9') return c - '0';
    const auto at = letters.find(c);
    if (at == std::string_view::npos || values[at] == '0') return -1;
    return values[at] - '0';
}

char meant(char c) {
    return c == 'I' ? '1' : c == 'O' || c == 'Q' ? '0' : c;
}

constexpr const char* worth =
    "it catches any single wrong digit, but not a letter exchanged for one of the same value (A for J, B for K or S)";

void compute(VinAnswer& out) {
    for (std::size_t i = 0; i < 17; ++i) out.weighted_sum += weights[i] * value_of(out.vin[i]);
    out.remainder = out.weighted_sum % 11;
    out.expected = out.remainder == 10 ? 'X' : static_cast<char>('0' + out.remainder);
    out.position9 = out.vin[8];
    out.check_matches = out.position9 == out.expected;
}

}  // namespace

VinAnswer check_vin(std::string_view typed, std::optional<bool> rule_applies) {
    VinAnswer out;
    out.typed = std::string(trim(typed));
    out.vin = upper(out.typed);
    const auto halt = [&](std::string code, const std::string& text, std::string where) {
        out.judgement.add({std::move(code), Verdict::halt, text, std::move(where), "ISO 3779"});
    };
    if (out.vin.size() != 17) {
        halt("vin-length", fmt::format("has {} characters; a VIN has 17", out.vin.size()), "vin");
        return out;
    }
    std::string suggestion = out.vin;
    for (std::size_t i = 0; i < 17; ++i) {
        const char c = out.vin[i], m = meant(c);
        const std::string where = fmt::format("vin[{}]", i + 1);
        if (m != c) {
            suggestion[i] = m;
            out.judgement.add(
                {"corrected-character", Verdict::mind,
                 fmt::format("character {} is {}, which ISO 3779 keeps out of VINs; {} is suggested", i + 1, c, m),
                 where, "ISO 3779 character set"});
        } else if (value_of(c) < 0) {
            halt("vin-character",
                 fmt::format("character {} is \"{}\"; digits and capital letters without I, O and Q were expected",
                             i + 1, printable(std::string_view(&out.vin[i], 1))),
                 where);
        }
    }
    if (out.judgement.verdict() == Verdict::halt) return out;
    out.well_formed = suggestion == out.vin;
    if (!out.well_formed) out.suggestion = suggestion;
    out.vin = suggestion;
    compute(out);
    if (out.check_matches) {
        out.judgement.add({"vin-check-digit-agrees", Verdict::fit,
                           fmt::format("position 9 is {}, as 49 CFR 565 computes (sum {}, remainder {}); {}",
                                       out.position9, out.weighted_sum, out.remainder, worth),
                           "vin[9]", "49 CFR 565.15(c)"});
        return out;
    }
    const bool binding = rule_applies.value_or(false);
    out.judgement.add(
        {"vin-check-digit-differs", binding ? Verdict::cant_say : Verdict::mind,
         fmt::format("position 9 is {}, 49 CFR 565 computes {} (sum {}, remainder {}); {}", out.position9, out.expected,
                     out.weighted_sum, out.remainder,
                     binding
                         ? "read the number again from the vehicle"
                         : "outside the markets of that rule position 9 may hold anything: read the number again if "
                           "the vehicle was made for one of them"),
         "vin[9]", "49 CFR 565.15(c)"});
    return out;
}

}  // namespace fettle::identity
