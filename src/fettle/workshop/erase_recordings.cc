// Every recording of a job, gone. First the files, then the entry: killed in between, the next call says of what is
// missing that it is gone.
#include <fmt/core.h>

#include <algorithm>
#include <filesystem>
#include <optional>

#include "fettle/base/digest.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/recordings.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

namespace fs = std::filesystem;

struct Known {  // a recording by the journal, or only by its name in the folder
    std::string file, sha256;
    bool erased = false;
};

// By the journal: recorded, and not erased since.
std::vector<Known> recorded_in(const JobRecord& record) {
    std::vector<Known> out;
    const auto find = [&](const std::string& file) {
        return std::find_if(out.begin(), out.end(), [&](const Known& k) { return k.file == file; });
    };
    for (const book::Entry& e : record.entries) {
        if (e.type != "recorded" && e.type != "erased") continue;
        const auto parsed = parse_json(e.data, e.type);
        if (!parsed || !parsed->is_object()) continue;
        const json::object& data = parsed->get_object();
        if (e.type == "recorded") {
            const std::string file = text_of(data, "file");
            if (find(file) == out.end()) out.push_back({file, {}, false});
            *find(file) = {file, text_of(data, "sha256"), false};
        } else if (const auto* files = data.if_contains("files"); files && files->is_array()) {
            for (const auto& f : files->get_array())
                if (const auto k = f.is_object() ? find(text_of(f.get_object(), "file")) : out.end(); k != out.end())
                    k->erased = true;
        }
    }
    return out;
}

// Of this job by their names, in the folder, without an entry: what a killed command left.
std::vector<Known> lost_in(const fs::path& folder, const std::string& number, const std::vector<Known>& known) {
    std::vector<Known> out;
    std::error_code ec;
    for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
        const std::string name = it->path().filename().string();
        std::string of = name.substr(0, name.find('-'));
        if (!of.empty() && of.back() == 'x') of.back() = 'X';
        const bool in_journal = std::any_of(known.begin(), known.end(), [&](const Known& k) { return k.file == name; });
        if (of == number && name.ends_with(".pcapng") && !in_journal) out.push_back({name, {}, false});
    }
    std::sort(out.begin(), out.end(), [](const Known& a, const Known& b) { return a.file < b.file; });
    return out;
}

// What became of it; nullopt: it stays, and `why` says why.
std::optional<ErasedFile> erase(const fs::path& path, const Known& k, std::string& why) {
    std::error_code ec;
    if (!fs::exists(path, ec)) return ErasedFile{k.file, k.sha256, true};
    const auto digest = sha256_hex_of_file(path);
    if (fs::path(k.file).is_absolute() && (!digest || *digest != k.sha256))
        why = "it is not as it was recorded: look at it, and delete it yourself";
    else if (!fs::remove(path, ec) || ec)
        why = "it cannot be deleted: " + ec.message();
    if (!why.empty()) return std::nullopt;
    return ErasedFile{k.file, digest ? *digest : k.sha256, false};
}

NewEntry erased_entry(const std::vector<ErasedFile>& files, const std::string& by) {
    json::array list;
    for (const ErasedFile& f : files) {
        json::object o{{"file", f.file}};
        if (!f.sha256.empty()) o["sha256"] = f.sha256;
        if (f.was_gone) o["was"] = "gone";
        list.push_back(std::move(o));
    }
    return {"erased", {{"files", std::move(list)}, {"by", by}}};
}

}  // namespace

Result<Erased> erase_recordings(const Workshop& shop, const EraseRequest& request) {
    if (trim(request.by).empty())
        return usage_error("erase-without-name", with(flag("by")), "who erases them is not said",
                           Next{"give ", with(wanted("by", "NAME"))});
    const auto record = read_job(shop, request.job);
    if (!record) return pass(record);
    const fs::path folder = shop.home / "recordings";
    std::vector<Known> known = recorded_in(*record);
    for (Known& lost : lost_in(folder, record->number, known)) known.push_back(std::move(lost));
    Erased out;
    for (const Known& k : known) {
        const fs::path path = fs::path(k.file).is_absolute() ? fs::path(k.file) : folder / k.file;
        std::error_code ec;
        if (k.erased && !fs::exists(path, ec)) continue;
        std::string why;
        if (auto erased = erase(path, k, why)) {
            out.files.push_back(std::move(*erased));
            continue;
        }
        out.judgement.add({"recording-left", Verdict::halt,
                           fmt::format("{} is still there: {}", printable(path.string()), why), k.file, "tried now"});
        out.left.push_back(k.file);
    }
    if (out.left.empty())
        out.judgement.add(
            {"recordings-erased", Verdict::fit,
             "no recording of this job that Fettle knows of is left; copies that somebody made are not known",
             "recordings", "tried now"});
    if (out.files.empty()) return out;
    if (auto kept = append_entries(shop, record->number, {erased_entry(out.files, request.by)}); !kept)
        return pass(kept);
    return out;
}

}  // namespace fettle::workshop
