#include "fettle/show/card.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/card_entries.h"

namespace fettle::show {
namespace {

using card::Laid;
using workshop::LaidCard;

std::string level_of(const family::Family& family) {
    return family.level.empty() ? "L0" : family.level;
}

// One word to a shell, whatever stands in it; what a terminal cannot show is spelt in octal, as bash reads it.
std::string quoted_for_shell(const std::string& text) {
    if (printable(text) == text) {
        std::string out = "'";
        for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
        return out + "'";
    }
    std::string out = "$'";
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        const bool plain = byte > 0x20 && byte < 0x7F && c != '\'' && c != '\\';
        out += plain ? std::string(1, c) : fmt::format("\\{:03o}", byte);
    }
    return out + "'";
}

// Repeats the digest with tools that every system has.
std::string dd_lines(const Laid& laid, const std::string& image) {
    std::string out = "{ ";
    for (const auto& e : laid.extents)
        out += fmt::format("dd if={} bs=1M iflag=skip_bytes,count_bytes skip={} count={} status=none; ",
                           quoted_for_shell(image), e.at, e.length);
    return out + "} | sha256sum\n";
}

std::string laid_text(const LaidCard& c) {
    const auto& g = c.laid.geometry;
    const std::string image = printable(c.target.string());
    std::string out;
    out += fmt::format("  image     {}, {}\n", image, human_bytes(g.card_sectors * card::sector_bytes));
    out += fmt::format("  layout    MBR, one {} partition from sector {}, clusters of {} bytes\n", card::words(g.type),
                       g.partition_start, g.cluster_bytes());
    std::uint64_t bytes = 0;
    for (const auto& f : c.laid.files) bytes += f.extent.length;
    if (c.cards > 1) out += fmt::format("  card      {} of {}, taken one after the other\n", c.card, c.cards);
    out += fmt::format("  files     {}, {}\n", c.laid.files.size(), human_bytes(bytes));
    out += fmt::format("  digest    sha256 {} over {} in {} stretches\n", c.laid.digest, human_bytes(c.laid.bytes),
                       c.laid.extents.size());
    out += fmt::format("  read back every written byte, {}\n",
                       c.laid.cold ? "past the system's memory" : "from memory: this place has no medium");
    return out + "Repeat the digest with\n" + dd_lines(c.laid, c.target.string());
}

std::string audit_text(const card::Audit& a) {
    std::string out;
    out += fmt::format("  card      {}, table {}{}\n", human_bytes(a.card_bytes), a.table,
                       a.file_system.empty() ? ", no file system known by its mark" : ", " + a.file_system);
    if (a.clusters != 0)
        out += fmt::format("  clusters  {} of {} bytes; label '{}', serial {}\n", a.clusters, a.cluster_bytes, a.label,
                           a.serial);
    if (a.cards > 1) out += fmt::format("  which     card {} of {}\n", a.card, a.cards);
    if (!a.release.empty()) out += fmt::format("  index     release {}\n", printable(a.release));
    out += fmt::format("  files     {} on the card", a.files);
    if (a.files_wanted != 0) out += fmt::format("; {} of {} wanted are right", a.files_matched, a.files_wanted);
    out += "\n";
    for (const auto& d : a.differing)
        out += fmt::format("  differs   {}: its {} is\n            {}, wanted is\n            {}\n", printable(d.path),
                           d.algorithm, d.found, d.wanted);
    for (const auto& n : a.not_checked) out += "  not checked: " + n + "\n";
    return out;
}

const Reason* worst_of(const Judgement& j) {
    const Reason* worst = nullptr;
    for (const auto& r : j.reasons)
        if (!worst || r.verdict > worst->verdict) worst = &r;
    return worst;
}

json::object device_json(const workshop::DeviceList::Device& d) {
    json::array reasons;
    for (const auto& r : d.judgement.reasons)
        reasons.push_back(json::object{{"code", r.code}, {"verdict", code(r.verdict)}, {"text", r.text}});
    json::object out = workshop::device_as_json(d.device);
    out["usable"] = d.usable();
    out["verdict"] = code(d.judgement.verdict());
    out["reasons"] = std::move(reasons);
    return out;
}

}  // namespace

Answer laid(const LaidCard& c) {
    Answer a;
    const std::string name = workshop::card_words(c.card, c.cards) + printable(c.release.release);
    const std::string for_family = c.family.id.empty() ? std::string() : " for " + c.family.id;
    a.level = level_of(c.family);
    a.judgement = c.judgement;
    a.data = workshop::laid_as_json(c);
    if (!c.erased) {
        a.headline = fmt::format("Laid {}{} and read every byte back.", name, for_family);
        a.text = laid_text(c);
        return a;
    }
    const card::FoundDevice& device = c.erased->device;
    a.headline = fmt::format("Laid {}{} on {} and read every byte back.{}", name, for_family, device.path,
                             c.laid.cold ? " Safe to pull." : "");
    a.text = device_page(device, c.erased->on_it) + "What was on it is gone.\n" + laid_text(c);
    a.data["device"] = workshop::device_as_json(device);
    a.data["was_on_it"] = texts_as_json(c.erased->on_it);
    return a;
}

Answer audited(const workshop::AuditedCard& c) {
    Answer a;
    a.headline = c.audit.sentence;
    a.text = audit_text(c.audit);
    a.judgement = c.judgement;
    a.level = c.family ? level_of(*c.family) : "L0";
    a.data = workshop::audit_as_json(c.audit, c.card);
    if (c.family) a.data["family"] = c.family->id;
    if (c.wanted_release) a.data["wanted_release"] = *c.wanted_release;
    return a;
}

Answer devices(const workshop::DeviceList& list, bool all) {
    Answer a;
    a.verdict_matters = false;
    json::array devices;
    std::size_t cards = 0, others = 0;
    for (const auto& d : list.devices) {
        ++(d.usable() ? cards : others);
        devices.push_back(device_json(d));
        if (!d.usable() && !all) continue;
        a.text += device_page(d.device, {});
        if (const Reason* w = worst_of(d.judgement)) a.text += fmt::format("  {:<9} {}\n", words(w->verdict), w->text);
    }
    a.headline = cards == 0   ? "No device here may be a card."
                 : cards == 1 ? "One device here may be a card."
                              : fmt::format("{} devices here may be a card.", cards);
    if (others > 0 && !all)
        a.text += fmt::format(
            "{} other{} left out: part of the computer, in use, or without a medium (--all shows "
            "why).\n",
            others, others == 1 ? " is" : "s are");
    a.data = {{"devices", std::move(devices)}};
    if (!list.family.empty()) a.data["family"] = list.family;
    return a;
}

std::string device_page(const card::FoundDevice& d, const std::vector<std::string>& on_it) {
    std::string out = fmt::format("{}  {}\n", d.path, d.model.empty() ? "(gives no model)" : d.model);
    out += d.serial.empty() ? std::string("  serial    none\n")
                            : fmt::format("  serial    {} (of {})\n", d.serial, d.serial_of);
    out += fmt::format("  size      {}, {}\n", workshop::size_words(d), words(d.bus));
    for (std::size_t i = 0; i < on_it.size(); ++i) out += fmt::format("  {:<9} {}\n", i == 0 ? "on it" : "", on_it[i]);
    return out;
}

std::string erase_page(const workshop::EraseQuestion& q) {
    std::string page = device_page(q.device, q.on_it) + "  lost      all of it\n";
    for (const auto& r : q.known.reasons) page += fmt::format("  mind      {}\n", r.text);
    return page;
}

}  // namespace fettle::show
