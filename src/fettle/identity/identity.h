// Which boxes are on the bench? Plates and version views → family, roles, release, market, with the reasons and what
// each rests on, or the one question that splits the readings. Pure: computes on values, touches no file and no clock.
// It never guesses: what is not certain enough stays "can't say", and a contradiction is a halt.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/identity/label.h"

namespace fettle::identity {

// What the person who took the job in wrote down, as far as it can contradict the plates.
struct IntakeFacts {
    std::optional<int> housings;  // labelled housings handed over; absent: not noted
};

struct Given {
    std::vector<LabelText> plates;
    // Version views; several must agree, unless they name their box: "display=26.4.102 NS".
    std::vector<LabelText> views;
    IntakeFacts intake;
};

struct IdentifiedBox {
    std::string role;
    std::string plate;  // as read; empty while more than one reading is likely
    std::string typed;  // as typed
    std::map<std::string, std::string>
        fields;  // named field → its characters ("issue" → "C"); of several readings only what all agree on
    std::map<std::string, std::string> words;  // named field → meaning, where the family knows it
    std::vector<std::string> likely;           // fields whose meaning is only likely: no decision may rest on them
    std::vector<Correction> corrections;
};

struct Identity {
    std::string family;                // empty: not known
    std::vector<IdentifiedBox> boxes;  // in the family's order of roles
    std::vector<std::string> missing;  // roles of the set whose plate was not given
    bool set = false;                  // the family is a set of boxes that work together
    std::string release;               // of all boxes, from the view; empty: no view was given, or it cannot be read
    std::map<std::string, std::string> releases;  // role → its own, where the boxes have different ones
    std::string market;                // as read; empty: the view does not say
    bool market_known = false;         // the market is on the family's list
    std::map<std::string, std::string> view_fields;
    std::vector<LabelAnswer> labels;   // plates, then views, in the order given: every reading, for who wants it
    std::optional<Question> question;  // when can't say or halt: what to ask first
    Judgement judgement;

    const IdentifiedBox* box(std::string_view role) const;  // nullptr if there is none
};

// The families to try; `--family` narrows the list before. Reason codes: docs/reasons.d/identity.md.
Identity identify(const std::vector<family::Family>& families, const Given& given);

}  // namespace fettle::identity
