#include "fettle/card/exfat.h"

#include <numeric>

namespace fettle::card::exfat {
namespace {

// Runs of units whose upper case is another unit: first, how many, from one to the next, upper case of the first.
struct Run {
    std::uint16_t first, count, step, upper;
};
constexpr Run runs[] = {
    {0x0061, 26, 1, 0x0041}, {0x00E0, 23, 1, 0x00C0}, {0x00F8, 7, 1, 0x00D8},  {0x00FF, 1, 1, 0x0178},
    {0x0101, 24, 2, 0x0100}, {0x0133, 3, 2, 0x0132},  {0x013A, 8, 2, 0x0139},  {0x014B, 23, 2, 0x014A},
    {0x017A, 3, 2, 0x0179},  {0x0180, 1, 1, 0x0243},  {0x0183, 2, 2, 0x0182},  {0x0188, 1, 1, 0x0187},
    {0x018C, 1, 1, 0x018B},  {0x0192, 1, 1, 0x0191},  {0x0195, 1, 1, 0x01F6},  {0x0199, 1, 1, 0x0198},
    {0x019A, 1, 1, 0x023D},  {0x019E, 1, 1, 0x0220},  {0x01A1, 3, 2, 0x01A0},  {0x01A8, 1, 1, 0x01A7},
    {0x01AD, 1, 1, 0x01AC},  {0x01B0, 1, 1, 0x01AF},  {0x01B4, 2, 2, 0x01B3},  {0x01B9, 1, 1, 0x01B8},
    {0x01BD, 1, 1, 0x01BC},  {0x01BF, 1, 1, 0x01F7},  {0x01C6, 1, 1, 0x01C4},  {0x01C9, 1, 1, 0x01C7},
    {0x01CC, 1, 1, 0x01CA},  {0x01CE, 8, 2, 0x01CD},  {0x01DD, 1, 1, 0x018E},  {0x01DF, 9, 2, 0x01DE},
    {0x01F3, 1, 1, 0x01F1},  {0x01F5, 1, 1, 0x01F4},  {0x01F9, 20, 2, 0x01F8}, {0x0223, 9, 2, 0x0222},
    {0x023A, 1, 1, 0x2C65},  {0x023C, 1, 1, 0x023B},  {0x023E, 1, 1, 0x2C66},  {0x0242, 1, 1, 0x0241},
    {0x0247, 5, 2, 0x0246},  {0x0253, 1, 1, 0x0181},  {0x0254, 1, 1, 0x0186},  {0x0256, 2, 1, 0x0189},
    {0x0259, 1, 1, 0x018F},  {0x025B, 1, 1, 0x0190},  {0x0260, 1, 1, 0x0193},  {0x0263, 1, 1, 0x0194},
    {0x0268, 1, 1, 0x0197},  {0x0269, 1, 1, 0x0196},  {0x026B, 1, 1, 0x2C62},  {0x026F, 1, 1, 0x019C},
    {0x0272, 1, 1, 0x019D},  {0x0275, 1, 1, 0x019F},  {0x027D, 1, 1, 0x2C64},  {0x0280, 1, 1, 0x01A6},
    {0x0283, 1, 1, 0x01A9},  {0x0288, 1, 1, 0x01AE},  {0x0289, 1, 1, 0x0244},  {0x028A, 2, 1, 0x01B1},
    {0x028C, 1, 1, 0x0245},  {0x0292, 1, 1, 0x01B7},  {0x037B, 3, 1, 0x03FD},  {0x03AC, 1, 1, 0x0386},
    {0x03AD, 3, 1, 0x0388},  {0x03B1, 17, 1, 0x0391}, {0x03C2, 1, 1, 0x03A3},  {0x03C3, 9, 1, 0x03A3},
    {0x03CC, 1, 1, 0x038C},  {0x03CD, 2, 1, 0x038E},  {0x03D9, 12, 2, 0x03D8}, {0x03F2, 1, 1, 0x03F9},
    {0x03F8, 1, 1, 0x03F7},  {0x03FB, 1, 1, 0x03FA},  {0x0430, 32, 1, 0x0410}, {0x0450, 16, 1, 0x0400},
    {0x0461, 17, 2, 0x0460}, {0x048B, 27, 2, 0x048A}, {0x04C2, 7, 2, 0x04C1},  {0x04CF, 1, 1, 0x04C0},
    {0x04D1, 34, 2, 0x04D0}, {0x0561, 38, 1, 0x0531}, {0x1D7D, 1, 1, 0x2C63},  {0x1E01, 75, 2, 0x1E00},
    {0x1EA1, 45, 2, 0x1EA0}, {0x1F00, 8, 1, 0x1F08},  {0x1F10, 6, 1, 0x1F18},  {0x1F20, 8, 1, 0x1F28},
    {0x1F30, 8, 1, 0x1F38},  {0x1F40, 6, 1, 0x1F48},  {0x1F51, 4, 2, 0x1F59},  {0x1F60, 8, 1, 0x1F68},
    {0x1F70, 2, 1, 0x1FBA},  {0x1F72, 4, 1, 0x1FC8},  {0x1F76, 2, 1, 0x1FDA},  {0x1F78, 2, 1, 0x1FF8},
    {0x1F7A, 2, 1, 0x1FEA},  {0x1F7C, 2, 1, 0x1FFA},  {0x1F80, 8, 1, 0x1F88},  {0x1F90, 8, 1, 0x1F98},
    {0x1FA0, 8, 1, 0x1FA8},  {0x1FB0, 2, 1, 0x1FB8},  {0x1FB3, 1, 1, 0x1FBC},  {0x1FCC, 1, 1, 0x1FC3},
    {0x1FD0, 2, 1, 0x1FD8},  {0x1FE0, 2, 1, 0x1FE8},  {0x1FE5, 1, 1, 0x1FEC},  {0x1FFC, 1, 1, 0x1FF3},
    {0x214E, 1, 1, 0x2132},  {0x2170, 16, 1, 0x2160}, {0x2184, 1, 1, 0x2183},  {0x24D0, 26, 1, 0x24B6},
    {0x2C30, 47, 1, 0x2C00}, {0x2C61, 1, 1, 0x2C60},  {0x2C68, 3, 2, 0x2C67},  {0x2C76, 1, 1, 0x2C75},
    {0x2C81, 50, 2, 0x2C80}, {0x2D00, 38, 1, 0x10A0}, {0xFF41, 26, 1, 0xFF21},
};

// Stretches that map to themselves and that the published table leaves out: first unit and count.
constexpr std::uint16_t left_out[][2] = {{0x0587, 0x17F6}, {0x2185, 0x034B}, {0x24EA, 0x0746}, {0x2D26, 0xD21B}};

constexpr std::size_t units = 65536;
constexpr std::uint16_t left_out_mark = 0xFFFF;

std::uint32_t turned(std::uint32_t sum, Byte b) {
    return ((sum & 1) ? 0x80000000u : 0u) + (sum >> 1) + b;
}

std::uint16_t turned16(std::uint16_t sum, Byte b) {
    return static_cast<std::uint16_t>(((sum & 1) ? 0x8000u : 0u) + (sum >> 1) + b);
}

}  // namespace

std::uint32_t boot_sum(ByteView sectors) {
    std::uint32_t sum = 0;
    for (std::size_t i = 0; i < sectors.size(); ++i)
        if (i != 106 && i != 107 && i != 112) sum = turned(sum, sectors[i]);
    return sum;
}

std::uint16_t set_sum(ByteView entries) {
    std::uint16_t sum = 0;
    for (std::size_t i = 0; i < entries.size(); ++i)
        if (i != 2 && i != 3) sum = turned16(sum, entries[i]);
    return sum;
}

std::uint32_t table_sum(ByteView table, std::uint32_t sum) {
    for (const Byte b : table) sum = turned(sum, b);
    return sum;
}

std::uint16_t name_hash(std::u16string_view upcased) {
    std::uint16_t sum = 0;
    for (const char16_t c : upcased) {
        sum = turned16(sum, static_cast<Byte>(c));
        sum = turned16(sum, static_cast<Byte>(c >> 8));
    }
    return sum;
}

const std::vector<char16_t>& recommended_upcase() {
    static const std::vector<char16_t> table = [] {
        std::vector<char16_t> out(units);
        std::iota(out.begin(), out.end(), char16_t{0});
        for (const Run& r : runs)
            for (std::size_t i = 0; i < r.count; ++i)
                out[r.first + i * r.step] = static_cast<char16_t>(r.upper + i * r.step);
        return out;
    }();
    return table;
}

Bytes recommended_upcase_compressed() {
    const auto& table = recommended_upcase();
    Bytes out;
    const auto put = [&](std::uint16_t v) {
        out.push_back(static_cast<Byte>(v));
        out.push_back(static_cast<Byte>(v >> 8));
    };
    std::size_t skip = 0;
    for (std::size_t i = 0; i < units;) {
        if (skip < std::size(left_out) && left_out[skip][0] == i) {
            put(left_out_mark);
            put(left_out[skip][1]);
            i += left_out[skip++][1];
        } else {
            put(table[i++]);
        }
    }
    return out;
}

std::vector<char16_t> expanded_upcase(ByteView table) {
    std::vector<char16_t> out(units);
    std::iota(out.begin(), out.end(), char16_t{0});
    std::size_t at = 0;
    for (std::size_t i = 0; i + 2 <= table.size(); i += 2) {
        const std::uint16_t v = load_le16(table, i);
        if (v == left_out_mark && i + 4 <= table.size() && at + 1 < units) {
            at += load_le16(table, i + 2);
            i += 2;
        } else if (at < units) {
            out[at++] = v;
        } else {
            return {};
        }
        if (at > units) return {};
    }
    return out;
}

std::u16string upcased(std::u16string_view name, const std::vector<char16_t>& table) {
    std::u16string out(name);
    for (char16_t& c : out)
        if (c < table.size()) c = table[c];
    return out;
}

}  // namespace fettle::card::exfat
