// Any text as what a system says of its devices. Whatever stands there, what may be erased is a whole SD card, USB disk
// or loop device, with a medium in it, of a size we take, that nobody uses.
#include <cstdlib>

#include "fettle/base/text.h"
#include "fettle/card/devices.h"

using namespace fettle;
using namespace fettle::card;

namespace {

constexpr std::size_t most_input = 64u << 10;

void must(bool holds) {
    if (!holds) std::abort();
}

void judge(const FoundDevice& d, const family::CardRule* rule) {
    const auto judgement = may_be_erased(d, rule);
    for (const auto& r : judgement.reasons) must(!r.text.empty() && printable(r.text) == r.text);
    if (judgement.verdict() == Verdict::halt) return;
    must(d.bus == Bus::sd || d.bus == Bus::usb || d.bus == Bus::loop);
    must(!d.partition() && d.uses.empty() && !d.read_only && !d.rotating && d.size_bytes > 0);
    must(d.bus != Bus::sd || d.card_type == "SD");
    must(d.size_bytes <= (rule ? rule->max_bytes : most_without_rule));
    must(!d.to_agree().empty() && agrees(d, d.to_agree(), false));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size > most_input) return 0;
    const auto view = parse_system_view(std::string_view(reinterpret_cast<const char*>(data), size), "input");
    if (!view) return 0;
    family::CardRule rule;
    rule.media = {"usb-stick", "sd"};
    rule.min_bytes = 64u << 20;
    rule.max_bytes = std::uint64_t{32} << 30;
    for (const auto& d : find_devices(*view)) {
        must(printable(d.model) == d.model && printable(d.serial) == d.serial && printable(d.path) == d.path);
        judge(d, nullptr);
        judge(d, &rule);
    }
    return 0;
}
