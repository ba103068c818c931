/** What makes an envelope of a finished form, a file of its own: it is loaded when a form is begun, or something is told to the clinic. */
export { randomUuid } from "../bytes";
export { noticePayload } from "../form/notice";
export { browserName, payloadOf } from "../form/payload";
export { sealForm } from "./seal";
