// Trouble codes: letters of SAE J2012 / ISO 15031-6, status bits of ISO 14229-1 Annex D.2, the list of a 19 02 answer.
#include <fmt/format.h>

#include "fettle/base/bytes.h"
#include "fettle/link/uds.h"

namespace fettle::link::uds {

namespace {
constexpr std::string_view letters = "PCBU";
constexpr std::string_view hex_digits = "0123456789ABCDEF";
}  // namespace

std::string code_text_short(std::uint16_t number) {
    return fmt::format("{}{}{:03X}", letters[number >> 14], number >> 12 & 3, number & 0xFFF);
}

std::string code_text(std::uint32_t number) {
    return fmt::format("{}-{:02X}", code_text_short(static_cast<std::uint16_t>(number >> 8)), number & 0xFF);
}

std::optional<std::uint32_t> code_number(std::string_view text) {
    if (text.size() != 8 || text[5] != '-') return std::nullopt;
    const auto letter = letters.find(text[0]);
    if (letter == std::string_view::npos || text[1] < '0' || text[1] > '3') return std::nullopt;
    auto number = static_cast<std::uint32_t>(letter << 2 | static_cast<std::size_t>(text[1] - '0'));
    for (const std::size_t at : {2u, 3u, 4u, 6u, 7u}) {
        const auto digit = hex_digits.find(text[at]);
        if (digit == std::string_view::npos) return std::nullopt;
        number = number << 4 | static_cast<std::uint32_t>(digit);
    }
    return number;
}

Result<CodeList> parse_codes(ByteView answer) {
    const auto wrong = [](std::string problem) {
        return bad_input("answer-not-understood", "answer", std::move(problem),
                         "read the fault memory again; if it stays so, it counts as not read");
    };
    Cursor in(answer);
    if (in.u8() != 0x59 || in.u8() != 0x02) return wrong("it is no list of stored codes (59 02)");
    const auto availability = in.u8();
    if (!availability) return wrong("the status availability byte is missing");
    if (in.left() % 4 != 0) return wrong(fmt::format("{} bytes of records are not a multiple of four", in.left()));
    CodeList out;
    out.availability = *availability;
    out.codes.reserve(in.left() / 4);
    while (const auto record = in.be32())
        out.codes.push_back({*record >> 8, static_cast<std::uint8_t>(*record & 0xFF)});
    return out;
}

Result<CodeRecords> parse_records(ByteView answer) {
    Cursor in(answer);
    const auto service = in.u8(), report = in.u8();
    const auto code = in.be32();  // three bytes of code, one of status
    if (service != 0x59 || (report != 0x04 && report != 0x06) || !code)
        return bad_input("answer-not-understood", "answer", "it holds no records of a stored code (59 04, 59 06)",
                         "read again; if it stays so, the records count as not read");
    const ByteView rest = in.rest();
    return CodeRecords{{*code >> 8, static_cast<std::uint8_t>(*code & 0xFF)}, Bytes(rest.begin(), rest.end())};
}

}  // namespace fettle::link::uds
