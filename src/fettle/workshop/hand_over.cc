#include "fettle/workshop/hand_over.h"

#include <fmt/core.h>

#include <filesystem>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/family/level.h"
#include "fettle/handover/sheet.h"
#include "fettle/ready/cautions.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

namespace fs = std::filesystem;

// Every run along its time; none where the plan no longer has its step, or where there is no script to draw.
std::vector<std::string> strips_of(const JobRun& run, UnixMs now) {
    std::vector<std::string> out;
    for (const book::Run& r : run.job.runs) {
        if (!run.step_of(r) || run.family.script.empty()) continue;
        RunFollow follow(run, r);
        const watch::Where where = follow.tick(now);
        out.push_back(follow.follow().strip_svg(where));
    }
    return out;
}

// The settling time of the last run has passed by now.
bool has_settled(const JobRun& run, UnixMs now) {
    if (run.job.runs.empty() || !run.step_of(run.job.runs.back())) return false;
    return where_is(run, run.job.runs.back(), now).safe_to_remove;
}

// What the owner or the next workshop must know.
std::vector<std::string> cautions_of(const book::Job& job) {
    if (job.place == Place::vehicle) return {};
    return {ready::caution("restraints").text, ready::caution("high-voltage").text};  // the boxes go back into one
}

std::string name_of_workshop(const Workshop& shop) {
    const auto text = read_text_file(shop.home / "workshop.txt", 4096);
    return text ? std::string(trim(text->substr(0, text->find('\n')))) : "";
}

fs::path sheet_path(const fs::path& folder, const book::Job& job) {
    const std::size_t n = job.handovers.size() + 1;
    return folder /
           (n == 1 ? fmt::format("handover-{}.html", job.number) : fmt::format("handover-{}-{}.html", job.number, n));
}

handover::SheetInput sheet_of(const Workshop& shop, book::Job job, const std::string& last_digest) {
    handover::SheetInput in;
    in.made = shop.clock->now();
    in.workshop = name_of_workshop(shop);
    in.journal_entries = job.last_number;
    in.journal_digest = last_digest;
    in.cautions = cautions_of(job);
    in.boot_order_known = false;
    in.job = std::move(job);
    if (in.job.family.empty()) return in;
    auto run = with_family(shop, in.job);
    if (!run) return in;  // nobody knows its family any more
    in.level = fmt::format("{}, {}", run->family.level, family::level_words(run->family.level));
    in.boot_order_known = !run->family.boot.empty();
    if (!add_plan(shop, *run)) return in;  // the shelf cannot be read: nothing is drawn
    in.strips = strips_of(*run, in.made);
    if (has_settled(*run, in.made))  // it had not when the pieces were compared
        std::erase_if(in.job.proof, [](const Reason& r) { return r.code == "not-settled"; });
    return in;
}

// On the journal as it is now; bad_input "journal-moved" when that changed before the sheet was kept in it.
Result<HandedOver> sealed_now(const Workshop& shop, const HandOverRequest& request,
                              std::optional<handover::ShopKey>& key) {
    const auto record = read_job(shop, request.job);
    if (!record) return pass(record);
    auto job = job_of(*record);
    if (!job) return pass(job);
    if (auto ok = handover::may_hand_over(*job); !ok) return pass(ok);
    const handover::SheetInput input = sheet_of(shop, std::move(*job), record->entries.back().digest);
    const auto html = handover::sheet_html(input);
    if (!html) return pass(html);
    if (!key) {
        auto ours = handover::shop_key(shop.keys_folder());
        if (!ours) return pass(ours);
        key = std::move(*ours);
    }
    const std::string sheet = handover::seal(*html, key->seed, request.check_with);
    const fs::path folder = request.folder;
    if (auto made = make_folder(folder); !made) return pass(made);
    const fs::path path = sheet_path(folder, input.job);
    if (auto written = write_file_durably(path, sheet); !written) return pass(written);
    HandedOver out{input.job.number,
                   input.level.empty() ? "L0" : input.level.substr(0, 2),
                   handover::headline(input.job),
                   path.string(),
                   sha256_hex(sheet),
                   hex(ed25519_public(key->seed)),
                   key->fingerprint,
                   key->made_now};
    const NewEntry entry{"handover", {{"file", out.file}, {"sheet_sha256", out.sheet_sha256}, {"key", out.public_key}}};
    if (auto kept = append_entries(shop, out.job, {entry}, input.journal_entries); !kept) {
        std::error_code ignored;  // a sheet that the record does not know must not stay
        fs::remove(path, ignored);
        return pass(kept);
    }
    return out;
}

Reason reason_for(const handover::Checked& c, bool known) {
    switch (c.seal) {
        case handover::Seal::unchanged:
            if (known) return {"seal-unchanged", Verdict::fit, c.why, "seal", "signature"};
            return {"seal-key-unknown", Verdict::mind,
                    "the key is not known here: compare its sixteen characters with those the workshop gives", "seal",
                    "signature"};
        case handover::Seal::changed: return {"seal-changed", Verdict::halt, c.why, "seal", "signature"};
        case handover::Seal::none: break;
    }
    return {"seal-missing", Verdict::cant_say, c.why, "seal", "nothing"};
}

}  // namespace

Result<HandedOver> hand_over(const Workshop& shop, const HandOverRequest& request) {
    if (request.folder.empty())
        return usage_error("out-missing", with(flag("out")), "where the sheet goes is not said",
                           Next{"give ", with(wanted("out", "DIR"))});
    std::optional<handover::ShopKey> key;  // made by the first attempt, if it is
    return until_journal_rests([&] { return sealed_now(shop, request, key); });
}

Result<SheetChecked> check_sheet(const Workshop& shop, const CheckSheetRequest& request) {
    const auto text = read_text_file(request.file);
    if (!text) return pass(text);
    SheetChecked out;
    out.checked = handover::check(*text, request.check_with);
    if (!out.checked.public_key.empty()) out.known_as = handover::known_as(shop.keys_folder(), out.checked.public_key);
    out.judgement.add(reason_for(out.checked, !out.known_as.empty()));
    return out;
}

}  // namespace fettle::workshop
