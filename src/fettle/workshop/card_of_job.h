// Is a card the job's? By the family, the market and the release of the package on it; asked wherever one is laid,
// audited, or counted as ready.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/ready/ready.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// What is known of the package on a card; what is empty is not known and speaks neither for nor against it.
struct OnCard {
    std::string family;
    std::vector<std::string> markets;
    std::string release;
};

// Halts "card-other-family", "card-other-market", "card-other-release" (no step of the job's plan installs it); no
// reason where nothing speaks against it.
Judgement against_job(const book::Job& job, const OnCard& card);

// One of the job's cards as the entries add up: laid anew it was not audited.
struct CardOfJob {
    OnCard on;
    std::optional<Verdict> audit;  // the last since it was laid
    std::string sentence;          // what that audit said first
};
// By the card's number: 1 starts a run.
std::map<unsigned, CardOfJob> cards_of(const std::vector<book::Entry>& entries);
Result<std::map<unsigned, CardOfJob>> cards_of(const Workshop& shop, const std::string& job);

// What a ready check says of a card that is not this job's, or at which its audit stopped ("card-audit-stopped", a
// halt) or was left open ("card-audit-open"), in place of what it said of that card: that is never "not audited".
// `wanted`: so many cards the step takes.
void tell_cards(const book::Job& job, const std::map<unsigned, CardOfJob>& cards, unsigned wanted, ready::Check& check);

}  // namespace fettle::workshop
