// Names and meanings of ISO 13400-2's types and codes, in our own clauses.
#include "fettle/link/doip.h"

namespace fettle::link::doip {

std::string_view type_name(std::uint16_t type) {
    switch (type) {
        case 0x0000: return "header negative acknowledge";
        case 0x0001: return "vehicle identification request";
        case 0x0002: return "vehicle identification request by EID";
        case 0x0003: return "vehicle identification request by VIN";
        case 0x0004: return "vehicle announcement";
        case 0x0005: return "routing activation request";
        case 0x0006: return "routing activation response";
        case 0x0007: return "alive check request";
        case 0x0008: return "alive check response";
        case 0x4001: return "entity status request";
        case 0x4002: return "entity status response";
        case 0x4003: return "power mode request";
        case 0x4004: return "power mode response";
        case 0x8001: return "diagnostic message";
        case 0x8002: return "diagnostic acknowledge";
        case 0x8003: return "diagnostic negative acknowledge";
        default: return "";
    }
}

std::string_view header_nack_words(std::uint8_t code) {
    switch (code) {
        case 0x00: return "header pattern not understood";
        case 0x01: return "payload type not known there";
        case 0x02: return "message too large for it";
        case 0x03: return "no memory for the message";
        case 0x04: return "length does not belong to the payload type";
        default: return "reserved";
    }
}

std::string_view activation_words(std::uint8_t code) {
    switch (code) {
        case 0x00: return "denied: it does not know this tester's address";
        case 0x01: return "denied: all its connections are in use";
        case 0x02: return "denied: this connection is already used by another tester's address";
        case 0x03: return "denied: this tester's address is in use on another connection";
        case 0x04: return "denied: it wants authentication first";
        case 0x05: return "denied: the confirmation was rejected";
        case 0x06: return "denied: it does not offer this kind of activation";
        case 0x07: return "denied: it wants an encrypted connection";
        case 0x10: return "activated";
        case 0x11: return "will be activated once it is confirmed at the vehicle";
        default: return "reserved";
    }
}

std::string_view diagnostic_nack_words(std::uint8_t code) {
    switch (code) {
        case 0x02: return "it does not accept this tester's address";
        case 0x03: return "it does not know the box's address";
        case 0x04: return "message too large for it";
        case 0x05: return "no memory for the message";
        case 0x06: return "the box cannot be reached through it";
        case 0x07: return "it does not know that network";
        case 0x08: return "the transport to the box failed";
        default: return "reserved";
    }
}

}  // namespace fettle::link::doip
