#include "fettle/workshop/card_entries.h"

#include "fettle/base/json.h"

namespace fettle::workshop {

json::object laid_as_json(const LaidCard& c) {
    json::array extents;
    for (const auto& e : c.laid.extents)
        extents.push_back(json::object{{"at_bytes", e.at}, {"length_bytes", e.length}});
    const auto& g = c.laid.geometry;
    return {{"image", c.target.string()},
            {"size_bytes", g.card_sectors * card::sector_bytes},
            {"partition_start_sector", g.partition_start},
            {"cluster_bytes", g.cluster_bytes()},
            {"clusters", g.clusters},
            {"files", c.laid.files.size()},
            {"sha256", c.laid.digest},
            {"extents", std::move(extents)},
            {"read_back_cold", c.laid.cold},
            {"release", c.release.release},
            {"family", c.family.id},
            {"markets", texts_as_json(c.release.markets)},
            {"card_number", c.card},
            {"cards", c.cards}};
}

json::object audit_as_json(const card::Audit& a, const std::string& card) {
    json::array lists, differing;
    for (const auto& l : a.lists) lists.push_back(json::object{{"code", l.code}, {"names", texts_as_json(l.names)}});
    for (const auto& d : a.differing)
        differing.push_back(
            json::object{{"path", d.path}, {"algorithm", d.algorithm}, {"found", d.found}, {"wanted", d.wanted}});
    return {{"card", card},
            {"size_bytes", a.card_bytes},
            {"table", a.table},
            {"file_system", a.file_system},
            {"label", a.label},
            {"serial", a.serial},
            {"cluster_bytes", a.cluster_bytes},
            {"clusters", a.clusters},
            {"files", a.files},
            {"files_wanted", a.files_wanted},
            {"files_matched", a.files_matched},
            {"bytes_read", a.bytes_read},
            {"release", a.release},
            {"markets", texts_as_json(a.markets)},
            {"index_sha256", a.index_sha256},
            {"card_number", a.card},
            {"cards", a.cards},
            {"lists", std::move(lists)},
            {"differing", std::move(differing)},
            {"not_checked", texts_as_json(a.not_checked)}};
}

json::object device_as_json(const card::FoundDevice& d) {
    return {{"path", d.path},
            {"model", d.model},
            {"serial", d.serial},
            {"serial_of", d.serial.empty() ? "" : d.serial_of},
            {"size_bytes", d.size_bytes},
            {"bus", words(d.bus)},
            {"removable", d.removable}};
}

NewEntry laid_entry(const LaidCard& laid) {
    json::object data = laid_as_json(laid);
    data["target"] = laid.target.string();
    data["digest"] = laid.laid.digest;
    data["bytes"] = laid.laid.bytes;
    data["right"] = laid.right;
    if (laid.erased) data["device"] = device_as_json(laid.erased->device);
    return {"laid", std::move(data)};
}

NewEntry audited_entry(const AuditedCard& c) {
    const card::Audit& audit = c.audit;
    const std::string wanted_release = c.wanted_release.value_or("");
    json::object data = audit_as_json(audit, c.card);
    data["target"] = c.card;
    data["verdict"] = code(c.judgement.verdict());
    data["sentence"] = audit.sentence;
    data["reasons"] = reasons_as_json(c.judgement.reasons);
    if (!audit.family.empty()) data["family"] = audit.family;
    // A further card may hold no index: what was found good against a release is of that release.
    if (audit.release.empty()) data.erase("release");
    if (audit.release.empty() && c.judgement.verdict() <= Verdict::mind && !wanted_release.empty())
        data["release"] = wanted_release;
    return {"audited", std::move(data)};
}

NewEntry gauged_entry(const card::FoundDevice& device, const Judgement& judgement) {
    return {"gauged", json::object{{"target", device.path},
                                   {"device", device_as_json(device)},
                                   {"verdict", code(judgement.verdict())},
                                   {"reasons", reasons_as_json(judgement.reasons)}}};
}

}  // namespace fettle::workshop
