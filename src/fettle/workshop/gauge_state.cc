#include "fettle/workshop/gauge_state.h"

#include <fmt/core.h>

#include <charconv>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"

namespace fettle::workshop {
namespace fs = std::filesystem;
namespace {

std::optional<std::uint64_t> number(const std::string& text) {
    std::uint64_t n = 0;
    const auto [end, ec] = std::from_chars(text.data(), text.data() + text.size(), n);
    if (ec != std::errc() || end != text.data() + text.size() || text.empty()) return std::nullopt;
    return n;
}

fs::path gauge_file(const Workshop& shop, const card::FoundDevice& device) {
    // The serial comes from outside: only its digest becomes part of a name.
    const std::string key = fmt::format("{}\n{}", device.serial, device.size_bytes);
    return shop.home / "gauge" / (sha256_hex(std::string_view(key)).substr(0, 16) + ".json");
}

}  // namespace

Result<std::optional<GaugeState>> read_gauge_state(const Workshop& shop, const card::FoundDevice& device) {
    const fs::path file = gauge_file(shop, device);
    std::error_code ec;
    if (!fs::exists(fs::symlink_status(file, ec))) return std::optional<GaugeState>();
    const auto text = read_text_file(file, 1u << 16);
    if (!text) return pass(text);
    const auto parsed = parse_json(*text, file.string());
    if (!parsed) return pass(parsed);
    const auto wrong = [&](const char* what) {
        return bad_input("gauge-state-damaged", file.string(), fmt::format("its {} is missing or wrong", what),
                         "remove it, and gauge the card again");
    };
    const json::object* o = parsed->if_object();
    if (!o) return wrong("form");
    GaugeState s;
    // Numbers of 64 bits stand as text.
    for (const auto& [key, to] :
         {std::pair{"card_bytes", &s.plan.card_bytes}, std::pair{"unit_bytes", &s.plan.unit_bytes},
          std::pair{"block_bytes", &s.plan.block_bytes}, std::pair{"chunk_bytes", &s.plan.chunk_bytes},
          std::pair{"seed", &s.plan.seed}}) {
        const auto n = number(text_of(*o, key));
        if (!n) return wrong(key);
        *to = *n;
    }
    const auto sane = [](std::uint64_t n, std::uint64_t most) { return n != 0 && n % 512 == 0 && n <= most; };
    if (s.plan.card_bytes != device.size_bytes || !sane(s.plan.unit_bytes, 1u << 30) ||
        !sane(s.plan.chunk_bytes, s.plan.unit_bytes) || !sane(s.plan.block_bytes, s.plan.chunk_bytes))
        return wrong("figures");
    s.sequence = text_of(*o, "sequence");
    s.at = text_of(*o, "at");
    return std::optional<GaugeState>(std::move(s));
}

Status write_gauge_state(const Workshop& shop, const card::FoundDevice& device, const GaugeState& s) {
    const fs::path file = gauge_file(shop, device);
    if (Status st = make_folder(file.parent_path()); !st) return st;
    const json::object o{{"serial", device.serial},
                         {"card_bytes", std::to_string(s.plan.card_bytes)},
                         {"unit_bytes", std::to_string(s.plan.unit_bytes)},
                         {"block_bytes", std::to_string(s.plan.block_bytes)},
                         {"chunk_bytes", std::to_string(s.plan.chunk_bytes)},
                         {"seed", std::to_string(s.plan.seed)},
                         {"sequence", s.sequence},
                         {"at", s.at}};
    return write_file_durably(file, pretty(o));
}

void forget_gauge_state(const Workshop& shop, const card::FoundDevice& device) {
    std::error_code ec;
    fs::remove(gauge_file(shop, device), ec);
}

}  // namespace fettle::workshop
