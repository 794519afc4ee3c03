// The ledger of loose ends while a job is folded: what opens one, what closes it. In order of first appearance.
#pragma once

#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "fettle/book/job.h"

namespace fettle::book {

class Ledger {
public:
    explicit Ledger(std::vector<LooseEnd>& ends) : ends_(ends) {}

    // Opens it, or opens it again with these words when it was closed before.
    void open(LooseEnd end);
    // Nothing when there is none of that id, or it is settled already.
    void settle(std::string_view id, std::string how, std::string by);
    void sign(std::string_view id, std::string reason, std::string by);

    const LooseEnd* find(std::string_view id) const;

private:
    LooseEnd* at(std::string_view id);
    std::vector<LooseEnd>& ends_;
    mutable int looked_ = 0;  // a memory of thousands of entries looks for each of them
    mutable std::unordered_map<std::string, std::size_t> places_;  // then by this
};

// The loose ends that follow from facts (docs/journal.md, last table).
void run_started(Ledger& ledger, const Run& run, std::size_t number, std::int64_t entry);
void hold_broken(Ledger& ledger, const Run& run, const BreachSeen& breach, std::size_t number);
void run_ended(Ledger& ledger, const Job& job, std::int64_t entry);
void faults_recorded(Ledger& ledger, const Job& job, std::int64_t entry);
// After a reading of the boxes, or another identification.
void held_against_job(Ledger& ledger, const Job& job, std::int64_t entry);
void clearing_begun(Ledger& ledger, const Clearing& clearing);
void clearing_answered(Ledger& ledger, const Clearing& clearing, std::int64_t entry);
// What a reading says of a clearing that the box never answered for: these read as if they had not been cleared.
void read_unchanged(Ledger& ledger, const Clearing& clearing);
// What mend says of the last run. stop: nobody here may go on.
void advice_given(Ledger& ledger, const Job& job, bool no_net, bool stop, std::int64_t entry);
void proof_outdated(Ledger& ledger, const Job& job, std::int64_t entry);
void proof_recorded(Ledger& ledger, const Job& job, std::int64_t entry);

}  // namespace fettle::book
