// The end of a rehearsal: what was left is read, proved and handed over, and the rehearsal's own answer is made.
#include <fmt/core.h>

#include <algorithm>
#include <system_error>

#include "cmd_handover.h"
#include "cmd_job.h"
#include "cmd_link.h"
#include "cmd_prove.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/print.h"
#include "fettle/workshop/store.h"
#include "rehearsal.h"

namespace fettle::app {
namespace fs = std::filesystem;

// Without a link: what a person can see of the version view, and the fault memory as not read.
Status Rehearsal::look_after() {
    std::string shown;
    server_->with([&](standin::VirtualSet& set) { shown = set.release(family_->boxes.front().role); });
    Result<Answer> a = broken_off_
                           ? Result<Answer>(Answer())
                           : did("as-left " + job_ + " --release " + shown, as_left(inner_, {job_, "", shown, ""}));
    if (!a) return pass(a);
    a = did("faults " + job_ + " --when after --none-read",
            fettle::app::faults(inner_, {{job_, workshop::Moment::after, {}, {}}, "", true}));
    if (!a) return pass(a);
    return {};
}

Status Rehearsal::read_after() {
    if (!reads_pieces()) return look_after();
    workshop::ReadRequest read;
    read.at = addresses();
    read.family = family_->id;
    read.when = workshop::Moment::after;
    const std::string typed = "link read " + at_typed() + " --when after --job " + job_;
    Result<Answer> a = link_read(inner_, read);
    if (!a && broken_off_) {  // it does not start any more, so nobody answers; that is written down as not read
        say(harmless(fmt::format("\n$ fettle {}\n{}\n", typed, a.error().message())));
        return look_after();
    }
    a = did(typed, std::move(a));
    if (!a) return pass(a);
    workshop::MemoryRequest faults;
    faults.at = addresses();
    faults.family = family_->id;
    faults.when = workshop::Moment::after;
    a = did("link faults " + at_typed() + " --when after --job " + job_, link_faults(inner_, faults));
    if (!a) return pass(a);
    return {};
}

Result<Answer> Rehearsal::prove() {
    if (Status seen = read_after(); !seen) return pass(seen);
    ProveOptions o;
    o.job = job_;
    Result<Answer> proof = did("prove " + job_, prove_job(inner_, o), true);
    if (!proof || broken_off_) return proof;
    std::string typed = "prove " + job_;
    for (const json::value& t : proof->data.at("to_try").as_array()) {
        o.tried.push_back(std::to_string(t.at("number").to_number<int>()));
        typed += " --tried " + o.tried.back();
    }
    if (o.tried.empty()) return proof;
    return did(typed, prove_job(inner_, o));
}

Status Rehearsal::hand_over() {
    Result<book::Job> job = load_job(inner_, job_);
    if (!job) return pass(job);
    Result<Answer> a = Answer();
    for (const book::Keeping& k : job->keepings)
        if (!k.returned) {
            a = did("job return " + job_ + " " + k.id + " --by " + in_quotes(kRehearsedBy),
                    job_return(inner_, {job_, k.id, kRehearsedBy}));
            if (!a) return pass(a);
        }
    job = load_job(inner_, job_);
    if (!job) return pass(job);
    for (const book::LooseEnd& end : job->open_ends()) {
        JobLooseEndsOptions o;
        o.job = job_;
        o.sign = end.id;
        o.by = kRehearsedBy;
        o.reason = "rehearsal on a virtual set";
        a = did(fmt::format("job loose-ends {} --sign {} --by {} --reason {}", job_, end.id, in_quotes(kRehearsedBy),
                            in_quotes(o.reason)),
                job_loose_ends(inner_, o));
        if (!a) return pass(a);
    }
    a = did("handover make " + job_ + " --out sheet", handover(inner_, {job_, (folder_ / "sheet").string()}));
    if (!a) return pass(a);
    std::error_code ec;
    for (const auto& entry : fs::directory_iterator(folder_ / "sheet", ec)) {
        const std::string name = "sheet/" + entry.path().filename().string();
        files_.push_back(name);
        if (entry.path().extension() != ".html") continue;
        a = did("handover check " + name, handover_check(inner_, {entry.path().string()}));
        if (!a) return pass(a);
    }
    return {};
}

Result<Answer> Rehearsal::closing(const Answer& proof) {
    Answer out;
    out.headline =
        fmt::format("Rehearsed {} to {} in {} of virtual time: {}", from_, to_, human_duration(ran_s_), proof.headline);
    out.judgement = proof.judgement;
    out.level = family_->level;
    out.data["folder"] = folder_.string();
    out.data["job"] = job_;
    out.data["virtual_s"] = ran_s_;
    out.data["broken_off"] = broken_off_;
    if (cut_) {
        json::array said;
        const std::string came = cut_->came == standin::Fate::same_card
                                     ? std::string(cutmap::code(cutmap::Outcome::same_card))
                                     : json_word(standin::words(cut_->came));
        for (const cutmap::Outcome o : cut_->map_said) said.push_back(json::string(cutmap::code(o)));
        out.data["cut"] = {{"release", cut_->release}, {"act", cut_->act}, {"cell", cut_->cell},
                           {"at_s", cut_->at_s},       {"map_said", said}, {"came", came},
                           {"agree", cut_->agree()}};
        if (!mended_first_.empty()) out.data["cut"].as_object()["mend_first"] = mended_first_;
        if (!cut_->agree())
            out.judgement.add({"map-and-stand-in-differ", Verdict::halt,
                               "the virtual set did what the power-cut map did not name: a defect in one of them",
                               cut_->act, "rehearsal"});
    }
    json::array files;
    out.text = "\nLeft in " + folder_.string() + ":\n  home/ (book, shelf, key), packages/, as-found.txt\n";
    for (const std::string& f : files_) {
        out.text += "  " + f + "\n";
        files.push_back(json::string(f));
    }
    out.data["files"] = files;
    out.text +=
        "Try next:\n"
        "  fettle card audit IMAGE|DEVICE     is a card of your own good? it only reads\n"
        "  fettle rehearse --cut-at 700       cut the power in the middle, and see whether the map was right\n" +
        fmt::format("  fettle --home {} job show {} --entries\n", (folder_ / "home").string(), job_);
    return out;
}

}  // namespace fettle::app
