/** A file of its own, loaded for what is read rarely: the clinic's texts, with the English words of their screens, and why a form is asked again; being forgotten; what is said beside a form. */
export { enLate } from "../i18n/en";
export { Forget } from "../screens/forget";
export { NoticeScreen, Wrong } from "../screens/notice";
export { ClinicTexts } from "../screens/privacy";
export { drawWith } from "./page_jsx";
