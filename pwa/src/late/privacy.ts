/** A file of its own, loaded when somebody wants to read: the clinic's texts, with the English words of their screens. */
export { enLate } from "../i18n/en";
export { ClinicTexts } from "../screens/privacy";
export { drawWith } from "./page_jsx";
