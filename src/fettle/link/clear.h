// Asking a box to clear stored entries: the one thing of the link that changes anything in a box. It goes to one box by
// its own address, in a connection in which that box's identity and memory were read again and found equal to what is
// on record, only toward this machine for now, and only to kinds of box on the list. What is allowed to go is decided
// elsewhere (prove); here stands what must hold on the wire. Nothing is repeated: after a request that was not answered
// the memory is to be read, not cleared again.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/link/inventory.h"

namespace fettle::link {

// Kinds of box whose memory may be cleared, as family files name them. Restraint, brake and steering systems are never
// among them, nor is a box whose kind is not said.
bool may_be_cleared(std::string_view kind);
std::vector<std::string_view> kinds_that_may_be_cleared();

struct ClearOrder {
    family::LinkBox box;
    std::string kind;
    std::string plate;                // that the box must give
    std::string serial;               // and this; empty: none is on record
    std::vector<StoredFault> memory;  // as saved: what the box must still say
    std::vector<std::string> codes;   // what is to go, each in `memory`
    bool others_may_go = false;       // if the box takes only "all" and holds others: each is signed for
};

// What became of one request.
struct ClearAnswer {
    Bytes request;
    Reply reply;
};

struct ClearResult {
    std::vector<ClearAnswer> answers;
    std::vector<std::string> done;  // codes for which the box said yes
    bool all = false;               // it was asked to clear all
    bool certain = true;            // false: a request was sent, and what became of it is not known
    std::string why;                // of what was not done, one clause
};

class Clearing {
public:
    // Reads plate, serial number and memory again. bad_input, with nothing sent that changes anything:
    // "clear-kind" (not on the list), "clear-address" (not on this machine), "other-box" (plate or serial number is
    // another, or was not given), "memory-moved" (the memory is not what was saved: another code, or another status),
    // "clear-active" (an entry that is to go is failing now). outside "memory-not-read", "identity-not-read".
    static Result<Clearing> prepare(Connection& connection, ClearOrder order);

    const BoxFaults& memory() const { return memory_; }    // as it was read just now
    const std::string& serial() const { return serial_; }  // empty: the box gives none

    // Each code by itself; one that the box does not take so (requestOutOfRange, subFunctionNotSupported), with all
    // others when they may go. Call once.
    ClearResult send();

private:
    Clearing(Connection& connection, ClearOrder order) : connection_(connection), order_(std::move(order)) {}
    Connection& connection_;
    ClearOrder order_;
    BoxFaults memory_;
    std::string serial_;
};

}  // namespace fettle::link
